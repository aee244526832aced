// Where somebody is: an address of their own, as every gym and household has. In one walk all would come from the
// same one, from which nobody may try to sign in without end; who shares one says so by its name.

import { once } from "node:events";
import http from "node:http";
import net from "node:net";

const passing = new Map();

/** A proxy whose requests come from that address of this machine. */
export function through(address) {
  if (!passing.has(address)) passing.set(address, listen(address));
  return passing.get(address);
}

async function listen(localAddress) {
  const proxy = http.createServer((asked, answer) => {
    const { "proxy-connection": _, ...headers } = asked.headers;
    const on = http.request(asked.url, { method: asked.method, headers, localAddress }, (came) => {
      answer.writeHead(came.statusCode, came.rawHeaders);
      came.pipe(answer);
      came.on("error", () => answer.destroy());
    });
    on.on("error", () => answer.destroy());
    answer.on("close", () => on.destroy());
    asked.pipe(on);
  });
  // What the walks ask beside their pages.
  proxy.on("connect", (asked, socket, head) => {
    const { hostname: host, port } = new URL(`http://${asked.url}`);
    const on = net.connect({ host, port: Number(port || 80), localAddress }, () => {
      socket.write("HTTP/1.1 200 OK\r\n\r\n");
      on.write(head);
      on.pipe(socket).pipe(on);
    });
    for (const one of [on, socket]) one.on("error", () => [on, socket].forEach((end) => end.destroy()));
  });
  proxy.listen(0, "127.0.0.1");
  await once(proxy, "listening");
  return { server: `http://127.0.0.1:${proxy.address().port}` };
}

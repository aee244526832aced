"""A service of its own for a check: a fresh database in a folder that goes away, one organiser of
everything, `serve` on a free port of this machine.

    with service(binary) as it:
        it.url, it.email, it.password, it.token()
"""

import contextlib
import datetime
import dataclasses
import pathlib
import re
import signal
import subprocess
import tempfile
import time

EMAIL = "office@series.example"
PASSWORD = "seven old oars on a wall"


@dataclasses.dataclass
class Service:
    """Where it listens, and who may do everything in it."""

    binary: str
    database: str
    url: str
    email: str = EMAIL
    password: str = PASSWORD

    @property
    def folder(self):
        """Where the database is, which goes away."""
        return pathlib.Path(self.database.removeprefix("sqlite://")).parent

    def run(self, *args, text=None):
        """A command of the command line on the same database; its standard output."""
        command = [self.binary, "--database", self.database, *args]
        return subprocess.run(command, input=text, capture_output=True, text=True, check=True).stdout

    def add(self, email, role, *more):
        """An account with a role and the password of all."""
        self.run("account", "add", email, "--role", role, *more, "--password-stdin", text=f"{self.password}\n")

    def token(self, email=EMAIL):
        """A token of an account."""
        return self.run("token", "issue", email, "--name", "check").split()[-1]


@contextlib.contextmanager
def service(binary, *flags):
    """`flags`: more of `serve`."""
    binary = str(pathlib.Path(binary).resolve())
    with tempfile.TemporaryDirectory() as folder:
        it = Service(binary, f"sqlite://{folder}/check.db", "")
        it.add(EMAIL, "organiser")
        log = pathlib.Path(folder, "serve.log")
        command = [binary, "--database", it.database, "serve", "--listen", "127.0.0.1:0", *flags]
        with log.open("w", encoding="utf-8") as told:
            process = subprocess.Popen(command, stdout=told, stderr=told)
        try:
            it.url = address(process, log)
            yield it
        finally:
            process.send_signal(signal.SIGTERM)
            left = process.wait(60)
        text = log.read_text(encoding="utf-8")
        if left != 0 or "panic" in text:
            raise SystemExit(f"the service left with {left}:\n{text[-4000:]}")


def address(process, log):
    """Where the service says that it listens, within half a minute."""
    for _ in range(150):
        found = re.search(r"http://127\.0\.0\.1:\d+", log.read_text(encoding="utf-8"))
        if found:
            return found[0]
        if process.poll() is not None:
            break
        time.sleep(0.2)
    raise SystemExit(f"the service did not start:\n{log.read_text(encoding='utf-8')}")


def series(it):
    """The competition of tests/data/small.toml with its first workout running now: two gyms, two
    judges, four entries, one score."""
    here = pathlib.Path(__file__).resolve().parent.parent
    now = datetime.datetime.now(datetime.timezone.utc).replace(microsecond=0, tzinfo=None)
    moved = now - datetime.datetime(2027, 1, 14)

    def later(found):
        return f'"{(datetime.datetime.fromisoformat(found[1]) + moved).isoformat()}"'

    text = (here / "data" / "small.toml").read_text(encoding="utf-8")
    files = {
        "small.toml": re.sub(r'"(\d{4}-\d\d-\d\dT\d\d:\d\d)"', later, text),
        "gyms.csv": "slug,name,country\nquayside,Quayside Hall,PT\nmillpond,Millpond,ES\n",
        "judges.csv": "code,name,gym,valid_from,valid_to\nJ-1,Rita Alves,quayside,2020-01-01,2099-12-31\nJ-2,Ana Gil,millpond,2020-01-01,2099-12-31\n",
        "entries.csv": "bib,name,born,category,division,gym\n1042,Ines Duarte,1994-05-02,women,women,quayside\n"
        "1043,Marta Vale,1993-05-02,women,women,millpond\n1044,Rui Costa,1991-03-04,men,men,quayside\n1045,Leo Lima,1990-03-04,men,men,\n",
        "w1.csv": "bib,performance,judge\n1042,6+14 tb 11:24,J-1\n",
    }
    for name, text in files.items():
        (it.folder / name).write_text(text, encoding="utf-8")
    it.run("competition", "apply", str(it.folder / "small.toml"))
    for what in ["gyms", "judges", "entries"]:
        it.run(what, "import", str(it.folder / f"{what}.csv"), "--competition", "saltmarsh")
    it.run("scores", "import", str(it.folder / "w1.csv"), "--competition", "saltmarsh", "--workout", "w1")

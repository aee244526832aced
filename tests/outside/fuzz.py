#!/usr/bin/env python3
"""Requests made up by schemathesis from the service's own OpenAPI document, against a service and
a database of their own: as nobody, as an athlete with an entry, a gym's staff, a judge of a gym,
a referee and an organiser.

    fuzz.py PATH-TO-tallywright [nobody|athlete|staff|judge|referee|organiser …]

No answer is a 5xx, none has a status, a kind or a shape that the document does not say; what the
document forbids is refused, and nothing is open that the document says is closed. Seeded and
bounded; what is looked at stands in schemathesis.toml. Operations that end the very sign-in that they are called
by are tried with a new one each time (fresh.py). Exit 1 with what was found and how to see it again.
"""

import collections
import json
import os
import pathlib
import subprocess
import sys
import time

from service import series, service

SEED = "20270115"
HERE = pathlib.Path(__file__).resolve().parent
# These end the very sign-in that the run goes on with: each call comes with one of its own.
ENDING = ["sign_out", "end_session", "end_other_sessions", "revoke_token", "close_account", "set_password"]
# Whoever is signed in may do these to what is their own; the last one the organiser of all alone.
FOR_ALL, FOR_ORGANISER = ENDING[:4] + ENDING[5:], ENDING[4:5]

# Whom a role is for, where it is for less than a competition.
ROLES = {
    "athlete": ["--bib", "1042"],
    "staff": ["--gym", "quayside"],
    "judge": ["--judge", "J-1"],
    "referee": [],
}


def schemathesis(it, more, examples, **environment):
    """Requests made up, `more` being what is added to its arguments. Whether it found nothing, and what it said."""
    command = [str(pathlib.Path(sys.executable).absolute().with_name("schemathesis")), "--no-color"]
    command += ["--config-file", str(HERE / "schemathesis.toml"), "run", f"{it.url}/api/openapi.json"]
    command += ["--seed", SEED, "--generation-deterministic", "--max-examples", str(examples)]
    command += ["--phases", "examples,coverage,fuzzing"]
    command += ["--suppress-health-check", "all", "--max-failures", "40", "--request-timeout", "20", *more]
    # What it keeps between runs goes where the database goes: away.
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=480, cwd=it.folder, env={**os.environ, **environment})
    return done.returncode == 0, f"{done.stdout[-20000:]} {done.stderr[-2000:]}"


def told(who, what, started, fine, said):
    print(f"as {who}, {what}: {time.monotonic() - started:.0f} s, {'nothing found' if fine else 'found'}", flush=True)
    if not fine:
        print(said)
    return fine


def fuzz(it, who, token):
    """Every operation, but for those that would end the run."""
    started = time.monotonic()
    more = []
    if token:
        more += ["--header", f"Authorization: Bearer {token}"]
        for name in ENDING:
            more += ["--exclude-operation-id", name]
    return told(who, "all that ends no sign-in" if token else "everything", started, *schemathesis(it, more, 40))


def fuzz_ending(it, who, roles):
    """Those that would end it, each call by somebody new. Each of them is really done at least once, where the
    role may."""
    started = time.monotonic()
    log = it.folder / f"{who}.calls"
    about = {"binary": it.binary, "database": it.database, "url": it.url, "roles": ["--role", who, *roles], "told": str(log)}
    more = [word for name in ENDING for word in ["--include-operation-id", name]]
    hooks = str(HERE / "fresh.py")
    fine, said = schemathesis(it, more, 8, FRESH=json.dumps(about), SCHEMATHESIS_HOOKS=hooks)
    calls = collections.Counter(tuple(line.split()) for line in log.read_text(encoding="utf-8").splitlines()) if log.exists() else {}
    done = [name for name in ENDING if calls.get((name, "204"))]
    wanted = FOR_ALL + (FOR_ORGANISER if who == "organiser" else [])
    if sorted(done) != sorted(wanted):
        fine, said = False, f"{said}\ndone: {done}\nwanted: {wanted}\nanswered: {calls}"
    return told(who, f"what ends a sign-in, {sum(calls.values())} calls", started, fine, said)


def main():
    wanted = sys.argv[2:] or ["nobody", *ROLES, "organiser"]
    # Each of those who sign in anew comes from an address of their own.
    with service(sys.argv[1], "--trusted-proxies", "127.0.0.1") as it:
        series(it)
        tokens = {"nobody": None, "organiser": it.token()}
        grants = {role: [*of, "--competition", "saltmarsh"] for role, of in ROLES.items()} | {"organiser": []}
        for role, of in grants.items():
            if role not in tokens:
                it.add(f"{role}@quayside.example", role, *of)
                tokens[role] = it.token(f"{role}@quayside.example")
        fine = [fuzz(it, who, tokens[who]) for who in wanted]
        fine += [fuzz_ending(it, who, grants[who]) for who in wanted if who in grants]
        if not all(fine):
            raise SystemExit(1)
        print("log verified:", it.run("log", "verify").strip())


main()

#!/usr/bin/env python3
"""Requests made up by schemathesis from the service's own OpenAPI document, against a service and
a database of their own: as nobody, as an athlete with an entry, a gym's staff, a judge of a gym,
a referee and an organiser.

    fuzz.py PATH-TO-tallywright [nobody|athlete|staff|judge|referee|organiser …]

No answer is a 5xx, none has a status, a kind or a shape that the document does not say; what the
document forbids is refused, and nothing is open that the document says is closed. Seeded and
bounded; what is looked at stands in schemathesis.toml. Exit 1 with what was found and how to see
it again.
"""

import pathlib
import subprocess
import sys
import time

from service import series, service

SEED = "20270115"
# These end the very sign-in that the run goes on with.
ENDING = ["sign_out", "end_session", "end_other_sessions", "revoke_token", "close_account", "set_password"]

# Whom a role is for, where it is for less than a competition.
ROLES = {
    "athlete": ["--bib", "1042"],
    "staff": ["--gym", "quayside"],
    "judge": ["--judge", "J-1"],
    "referee": [],
}


def fuzz(it, who, token):
    started = time.monotonic()
    command = [str(pathlib.Path(sys.executable).absolute().with_name("schemathesis")), "--no-color"]
    command += ["--config-file", str(pathlib.Path(__file__).resolve().with_name("schemathesis.toml")), "run", f"{it.url}/api/openapi.json"]
    command += ["--seed", SEED, "--generation-deterministic", "--max-examples", "40", "--phases", "examples,coverage,fuzzing"]
    command += ["--suppress-health-check", "all", "--max-failures", "40", "--request-timeout", "20"]
    if token:
        command += ["--header", f"Authorization: Bearer {token}"]
        for name in ENDING:
            command += ["--exclude-operation-id", name]
    # What it keeps between runs goes where the database goes: away.
    away = pathlib.Path(it.database.removeprefix("sqlite://")).parent
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=240, cwd=away)
    print(f"as {who}: {time.monotonic() - started:.0f} s, {'nothing found' if done.returncode == 0 else 'found'}", flush=True)
    if done.returncode != 0:
        print(done.stdout[-20000:], done.stderr[-2000:])
    return done.returncode == 0


def main():
    wanted = sys.argv[2:] or ["nobody", *ROLES, "organiser"]
    with service(sys.argv[1]) as it:
        series(it)
        tokens = {"nobody": None, "organiser": it.token()}
        for role, of in ROLES.items():
            it.add(f"{role}@quayside.example", role, *of, "--competition", "saltmarsh")
            tokens[role] = it.token(f"{role}@quayside.example")
        if not all([fuzz(it, who, tokens[who]) for who in wanted]):
            raise SystemExit(1)
        print("log verified:", it.run("log", "verify").strip())


main()

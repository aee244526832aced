"""What schemathesis does before and after each call of an operation that ends a sign-in: somebody new signs
in for it, and half of the calls that are as they should be are about what is their own. Loaded by schemathesis
itself, which fuzz.py starts; FRESH says for which service and which role.
"""

import itertools
import json
import os
import re
import subprocess

import requests
import schemathesis

IT = json.loads(os.environ["FRESH"])
API = f"{IT['url']}/api/v1"
COUNT = itertools.count(1)


def somebody(n):
    """A new account with the role, signed in by its link, from an address of its own: the headers of its
    session, and its number."""
    command = [IT["binary"], "--database", IT["database"], "account", "add", f"fresh-{n}@quayside.example", *IT["roles"]]
    made = subprocess.run(command, capture_output=True, text=True, check=True)
    code = re.search(r"code=(\S+)", made.stdout)[1]
    sent = {"X-Forwarded-For": f"10.{n >> 16 & 255}.{n >> 8 & 255}.{n & 255}"}
    answer = requests.post(f"{API}/session", json={"code": code}, headers=sent, timeout=20)
    answer.raise_for_status()
    cookie = "; ".join(f"{name}={value}" for name, value in answer.cookies.items())
    return {"Cookie": cookie, "Sec-Fetch-Site": "same-origin"}, answer.json()["account"]


def own(operation, headers, account):
    """The number of what is their own, for an operation that is about one."""
    if operation == "end_session":
        return requests.get(f"{API}/me/sessions", headers=headers, timeout=20).json()[0]["id"]
    if operation == "revoke_token":
        return requests.post(f"{API}/me/tokens", headers=headers, json={"name": "fresh"}, timeout=20).json()["id"]
    return account


def name_of(context):
    return context.operation.definition.raw["operationId"]


@schemathesis.hook
def before_call(context, case, kwargs):
    n = next(COUNT)
    headers, account = somebody(n)
    case.headers = {**(case.headers or {}), **headers}
    as_it_should_be = case.meta is None or case.meta.generation.mode.is_positive
    if as_it_should_be and "id" in (case.path_parameters or {}) and n % 2:
        case.path_parameters = {**case.path_parameters, "id": own(name_of(context), headers, account)}


@schemathesis.hook
def after_call(context, case, response):
    with open(IT["told"], "a", encoding="utf-8") as told:
        told.write(f"{name_of(context)} {response.status_code}\n")

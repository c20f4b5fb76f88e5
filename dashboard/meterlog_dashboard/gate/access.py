"""The gate: lets in this computer, and devices of the same network that were paired with a code.

What it holds against: another site's script in the same browser (Host, Origin and Sec-Fetch-Site are checked, so
neither name rebinding nor a foreign form gets through, nor an image or event stream that only keeps the server busy),
and people on the same network (a one-time code of 8 digits, five wrong tries a minute for each address, so that
nobody's wrong codes lock another out). Other devices come over TLS (`lan_server.py`).
"""

from __future__ import annotations

import hmac
import html
import secrets
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import flask

from meterlog.errors import SettingsError
from meterlog_dashboard.gate.devices import KEPT_DAYS, Devices

COOKIE = "meterlog-paired"
TRIES = 5
"""Wrong codes of an address in `TRIES_WINDOW_S`."""
TRIES_WINDOW_S = 60.0
"""An address may try so many wrong codes in so many seconds; a guess: a person mistypes twice."""
MOST_TRYING = 256
"""Addresses whose wrong codes are counted; while so many guess, no other is let try. At most 1280 guesses a minute out
of 10^8 codes: an hour of it finds one with a chance of 0.08 %."""
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
THIS_COMPUTER = ("127.0.0.1", "::1")
"""The addresses from which this computer's own browser asks."""
_LONGEST_SHOWN = 40
"""Characters of a name that are put into the form again: as many as its field takes."""
_NOT_KEPT = "The computer could not keep that; its terminal says why. The code still holds."

_PAIR_PAGE = """<!doctype html><html lang="en"><meta charset="utf-8"><title>meterlog: pair this device</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="icon" href="data:,">
<style>body{{font:1.2rem system-ui,sans-serif;margin:2rem;max-width:30rem;color-scheme:light dark}}
::placeholder{{color:inherit;opacity:.8}}
input,button{{font:inherit;padding:.6rem;width:100%;box-sizing:border-box;margin:.4rem 0}}</style>
<main><h1>Pair this device</h1><p>Type the code that the computer shows in its terminal.</p>
<form method="post" action="/pair"><label>Code <input name="code" inputmode="numeric" autocomplete="off" autofocus
value="{code}"></label>
<label>Name of this device <input name="name" maxlength="40"
value="{name}"></label>
<button>Pair</button></form><p role="alert">{message}</p></main></html>"""


@dataclass(frozen=True, slots=True)
class Lan:
    """Says how devices of the same network reach the page.

    Attributes:
        devices: those that are paired.
        address: `https://192.0.2.1:8050`.
        fingerprint: of the certificate, as browsers show it.
    """

    devices: Devices
    address: str
    fingerprint: str


class Access:
    """The gate in front of every request.

    Args:
        hosts: host names, without port, under which the page may be asked for.
        port: the port it listens on.
        lan: how other devices may come; None where none may.
        announce: told each new pairing code.
    """

    def __init__(self, hosts: Iterable[str], port: int, lan: Lan | None, announce: Callable[[str], None]) -> None:
        self._hosts = {f"{host}:{port}" for host in hosts} | ({*hosts} if port in (80, 443) else set())
        self.lan, self._announce = lan, announce
        self._came_from: dict[str, str] = {}
        self._wrong: dict[str, deque[float]] = {}
        self._lock = threading.Lock()
        self.code = ""
        if lan:
            self._new_code()

    def guard(self, server: flask.Flask) -> None:
        """Put the gate in front of a server and the safety headers on its answers."""
        server.before_request(self._check)
        server.after_request(_add_headers)
        if self.lan:
            server.add_url_rule("/pair", "pair", self._pair, methods=["GET", "POST"])

    def _new_code(self) -> None:
        self.code = f"{secrets.randbelow(10**8):08d}"
        self._announce(self.code)

    def _check(self) -> flask.Response | None:
        request = flask.request
        if request.host not in self._hosts:
            return flask.Response("meterlog: this page is not served under that name\n", 421)
        if _is_foreign(request):
            return flask.Response("meterlog: another site asked for this; refused\n", 403)
        try:
            if self._paired() or request.path == "/pair":
                return None
        except SettingsError as error:  # it names files, which are nobody's business
            print(f"meterlog: {error}", file=sys.stderr, flush=True)
            return flask.Response(
                "meterlog: the paired devices cannot be read; the computer's terminal says why\n", 503
            )
        if request.method == "GET" and "text/html" in request.headers.get("Accept", ""):
            return flask.Response("", 303, {"Location": "/pair"})
        return flask.Response("meterlog: this device is not paired\n", 403)

    def _paired(self) -> bool:
        address = flask.request.remote_addr or ""
        if self.lan is None or address in THIS_COMPUTER:
            return True
        cookie = flask.request.cookies.get(COOKIE, "")
        if not cookie or not self.lan.devices.knows(cookie):
            self._came_from.pop(cookie, None)
            return False
        self._came_from[cookie] = address
        return True

    def paired(self) -> frozenset[str]:
        """The addresses from which paired devices asked last, since the page was started."""
        return frozenset(tuple(self._came_from.values()))

    def _pair(self) -> flask.Response:
        assert self.lan is not None
        typed = flask.request.form.get("code", "").replace(" ", "")
        if flask.request.method == "GET":
            offered = "".join(filter(str.isdigit, flask.request.args.get("code", "")))[:8]
            return _pair_page(code=offered)
        address, name = flask.request.remote_addr or "", flask.request.form.get("name", "")
        with self._lock:  # tries at the same moment are counted one by one, and a code pairs one device
            if self._exhausted(address):
                return _pair_page("Too many wrong codes. Wait a minute, then type the code again.", 429, name)
            if not hmac.compare_digest(typed.encode(), self.code.encode()):
                tries = self._wrong.setdefault(address, deque(maxlen=TRIES))
                tries.append(time.monotonic())
                left = TRIES - len(tries)
                more = (
                    f"{left} more {'try' if left == 1 else 'tries'}" if left else "Wait a minute before you try again"
                )
                return _pair_page(f"That is not the code. {more}.", 403, name)
            try:
                token = self.lan.devices.pair(name)
            except SettingsError as error:
                print(f"meterlog: {error}", file=sys.stderr, flush=True)
                return _pair_page(_NOT_KEPT, 503, name)
            self._came_from[token] = address
            self._new_code()
        answer = flask.Response("", 303, {"Location": "/"})
        kept_s = KEPT_DAYS * 86400
        answer.set_cookie(
            COOKIE, token, kept_s, httponly=True, samesite="Strict", path="/", secure=flask.request.is_secure
        )
        return answer

    def _exhausted(self, address: str) -> bool:
        """True where an address has used up its tries, or so many addresses guess that it may not begin."""
        since_s = time.monotonic() - TRIES_WINDOW_S
        self._wrong = {one: tries for one, tries in self._wrong.items() if tries[-1] >= since_s}
        if address not in self._wrong:
            return len(self._wrong) >= MOST_TRYING
        return sum(tried_s >= since_s for tried_s in self._wrong[address]) >= TRIES


def _is_foreign(request: flask.Request) -> bool:
    """Tell whether another site's page asks, as its browser says it (Fetch Metadata, W3C); a link from there may be
    followed. What such a page only loads, and cannot read, would still keep the server at work."""
    if request.headers.get("Origin") not in (None, f"{request.scheme}://{request.host}"):
        return True
    followed = request.method == "GET" and request.headers.get("Sec-Fetch-Mode") == "navigate"
    return request.headers.get("Sec-Fetch-Site", "none") not in ("none", "same-origin") and not followed


def _pair_page(message: str = "", status: int = 200, name: str = "", code: str = "") -> flask.Response:
    """The form, with the device's name as it was typed."""
    page = _PAIR_PAGE.format(code=code, message=message, name=html.escape(name[:_LONGEST_SHOWN]))
    return flask.Response(page, status)


def _add_headers(answer: flask.Response) -> flask.Response:
    answer.headers["X-Content-Type-Options"] = "nosniff"
    if answer.mimetype == "text/html":  # these are of documents; at each small script they would weigh more than that
        answer.headers.setdefault("Content-Security-Policy", flask.current_app.config["CONTENT_SECURITY_POLICY"])
        answer.headers["Referrer-Policy"] = "same-origin"  # none at all would make browsers hide the form's Origin
        answer.headers["Cross-Origin-Opener-Policy"] = "same-origin"
    return answer

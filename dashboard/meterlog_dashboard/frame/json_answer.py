"""Answers scripts and other programs in JSON."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import flask


def json_answer(body: Mapping[str, Any], status: int = 200) -> flask.Response:
    """Return an answer of this moment, which no browser keeps."""
    answer = flask.jsonify(body)
    answer.status_code = status
    answer.headers["Cache-Control"] = "no-store"
    return answer

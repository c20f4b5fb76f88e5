"""Joins the browser's modules that lie beside the views into one, so that a weak line is asked once for them.

Each becomes a function of its own that gives what it exports. Modules use these forms and no others, each on a line
of its own: `import { a, b } from "./x.js";`, `import * as x from "./x.js";`, `export const a = ...`,
`export function a(`, `export async function a(`.
"""

from __future__ import annotations

import posixpath
import re
from collections.abc import Mapping
from graphlib import TopologicalSorter

_IMPORT = re.compile(
    r'^import (?:(?P<names>\{ \w+(?:, \w+)* \})|\* as (?P<all>\w+)) from "(?P<path>[^"]+)";$', re.MULTILINE
)
_EXPORT = re.compile(r"^export (?=(?:const|function|async function) (?P<name>\w+))", re.MULTILINE)
_OTHER = re.compile(r"^\s*(?:import|export)\b.*$", re.MULTILINE)


def bundle(modules: Mapping[str, str]) -> str:
    """One script of many modules, each after those that it imports.

    Args:
        modules: their texts by their names, `live/words.js`.

    Raises:
        ValueError: a module imports or exports in another form, or imports what is none of them.
        graphlib.CycleError: modules import each other in a circle.
    """
    needs = {name: [_path(name, one["path"]) for one in _IMPORT.finditer(text)] for name, text in modules.items()}
    order = TopologicalSorter(needs).static_order()
    return "\n".join(["const modules = {};", *(_as_function(name, modules) for name in order)])


def _path(name: str, path: str) -> str:
    return posixpath.normpath(posixpath.join(posixpath.dirname(name), path))


def _as_function(name: str, modules: Mapping[str, str]) -> str:
    if name not in modules:
        raise ValueError(f"no module is called '{name}'")
    exported = [one["name"] for one in _EXPORT.finditer(modules[name])]
    text = _IMPORT.sub(
        lambda one: f'const {one["names"] or one["all"]} = modules["{_path(name, one["path"])}"];',
        _EXPORT.sub("", modules[name]),
    )
    if other := _OTHER.search(text):
        raise ValueError(f"{name}: '{other[0].strip()}' is a form that the page does not join")
    return f'modules["{name}"] = (() => {{\n{text}\nreturn {{ {", ".join(exported)} }};\n}})();'

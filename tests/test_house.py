"""The house rules: arrows one way, no cycles, entry points as declared, every file says what it is."""

from __future__ import annotations

import ast
import functools
import tomllib
from importlib.metadata import entry_points
from pathlib import Path

from meterlog.cli.main import COMMANDS

ROOT = Path(__file__).parent.parent
PACKAGES = {
    "meterlog": ROOT / "meterlog",
    "meterlog_drivers": ROOT / "drivers" / "meterlog_drivers",
    "meterlog_dashboard": ROOT / "dashboard" / "meterlog_dashboard",
}
FILES = {
    ".".join((package, *path.relative_to(folder).with_suffix("").parts)).removesuffix(".__init__"): path
    for package, folder in PACKAGES.items()
    for path in sorted(folder.rglob("*.py"))
}
PYPROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
REINSTALL = "install again: pip install -e '.[dev]'"


@functools.cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text())


@functools.cache
def _imports(path: Path) -> set[str]:
    """Modules that a file names in its imports, inside functions too; those for type checkers alone are left out."""
    found: set[str] = set()

    def visit(node: ast.AST) -> None:
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            return
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        if isinstance(node, ast.ImportFrom) and node.module:
            found.update((node.module, *(f"{node.module}.{alias.name}" for alias in node.names)))
        for child in ast.iter_child_nodes(node):
            visit(child)

    visit(_tree(path))
    return found


def test_arrows_point_to_the_core_only() -> None:
    for module, path in FILES.items():
        root = module.partition(".")[0]
        others = {name for name in PACKAGES if name not in (root, "meterlog")}
        named = {name.partition(".")[0] for name in _imports(path)}
        assert not named & others, f"{module} imports {named & others}"


def test_no_import_cycles() -> None:
    graph = {m: {n for n in _imports(p) if n in FILES and n != m} for m, p in FILES.items()}
    # a package's own __init__ gathers its modules: naming the package from inside it is not a cycle of ideas
    graph = {m: {n for n in names if not m.startswith(f"{n}.")} for m, names in graph.items()}
    done: set[str] = set()

    def walk(module: str, trail: tuple[str, ...]) -> None:
        assert module not in trail, "cycle: " + " -> ".join((*trail[trail.index(module) :], module))
        if module in done:
            return
        for name in sorted(graph[module]):
            walk(name, (*trail, module))
        done.add(module)

    for module in graph:
        walk(module, ())


LAYERS: tuple[tuple[str, ...], ...] = (
    ("errors", "extras", "reading", "series", "kinds", "sides"),
    ("text", "timing"),
    ("address", "cautions", "details", "display_check", "fuses", "roles", "signal"),
    ("transports", "session", "near_words"),
    ("driver", "events", "exchange"),
    ("dial", "framing", "testing"),
    ("limits", "condition", "settings"),
    ("checks",),
    ("capture", "circuit", "findings"),
    ("analysis", "stream"),
    ("loaded",),
    ("comparing", "job"),
    ("archive",),
    ("fleet",),
    ("trends",),
    ("drawing",),
    ("report",),
    ("notebook",),
    ("cli",),
    ("__main__",),
)
"""The core from the bottom up: each package knows only what stands below it, nothing above or beside."""


def test_the_core_is_built_in_layers() -> None:
    height = {package: n for n, layer in enumerate(LAYERS) for package in layer}
    for module in (module for module in FILES if module.startswith("meterlog.")):
        own = module.split(".")[1]
        assert own in height, f"meterlog/{own} stands in no layer"
        for name in _imports(FILES[module]):
            package = name.split(".")[1] if name in FILES and name.startswith("meterlog.") else own
            below = package == own or height[package] < height[own]
            assert below, f"{module} imports {name} from above or beside"


SOME_SYSTEMS_ONLY = {"termios", "fcntl", "tty", "pty", "grp", "pwd", "resource", "msvcrt", "winreg"}
"""Modules that not every system has."""


def test_no_file_fails_to_import_on_another_system() -> None:
    for path in (*FILES.values(), *sorted(Path(__file__).parent.rglob("test_*.py"))):
        for node in _tree(path).body:
            if isinstance(node, ast.Import | ast.ImportFrom):
                named = {alias.name for alias in node.names} | {getattr(node, "module", None)}
                assert not named & SOME_SYSTEMS_ONLY, (
                    f"{path}:{node.lineno}: guard it by sys.platform, or import it where used"
                )


def test_every_file_begins_by_saying_what_it_is() -> None:
    assert not [str(path) for path in FILES.values() if not ast.get_docstring(_tree(path))]


def test_declared_drivers_are_on_disk() -> None:
    for name, value in PYPROJECT["project"]["entry-points"]["meterlog.drivers"].items():
        module, _, cls = value.partition(":")
        assert module in FILES, f"driver {name}: no file for {module}"
        tree = _tree(FILES[module])
        assert cls in {n.name for n in tree.body if isinstance(n, ast.ClassDef)}, f"driver {name}: no class {cls}"


def test_installed_drivers_are_the_declared_ones() -> None:
    declared = PYPROJECT["project"]["entry-points"]["meterlog.drivers"]
    installed = {p.name: p.value for p in entry_points(group="meterlog.drivers") if p.value in declared.values()}
    assert installed == declared, REINSTALL


def test_ci_runs_the_readme_test_command() -> None:
    readme = (ROOT / "README.md").read_text()
    command = 'python3 -m venv .venv && .venv/bin/pip install -q -e ".[dev]" && .venv/bin/pytest'
    assert f"\n{command}\n" in readme
    assert f"\n{command}\n" in (ROOT / ".ci" / "run").read_text()


def test_the_command_lines_folder_holds_a_file_a_command() -> None:
    files = {name for name in FILES if name.rpartition(".")[0] == "meterlog.cli" and FILES[name].name != "__init__.py"}
    commands = {module for module, _ in COMMANDS.values() if module.startswith("meterlog.cli.")}
    assert files - {"meterlog.cli.main"} == commands


PREFIX_LETTERS = {"p", "n", "u", "m", "k", "M"}


def _prefixes_in_a_table(node: ast.AST) -> set[str]:
    """The prefixes that one display of constants pairs with numbers, either way round."""
    if isinstance(node, ast.Dict):
        pairs = [(key, value) for key, value in zip(node.keys, node.values, strict=True) if key is not None]
    elif isinstance(node, ast.Tuple | ast.List | ast.Set):
        pairs = [
            (item.elts[0], item.elts[1]) for item in node.elts if isinstance(item, ast.Tuple) and len(item.elts) == 2
        ]
    else:
        return set()
    texts = {ast.unparse(a).strip("'\"") for pair in pairs for a, b in (pair, pair[::-1]) if _is_number(b)}
    return texts & PREFIX_LETTERS


def _is_number(node: ast.AST) -> bool:
    try:
        return isinstance(ast.literal_eval(node), int | float)
    except ValueError:
        return False


def test_there_is_one_table_of_prefixes() -> None:
    for module in (module for module in FILES if not module.startswith("meterlog.text.")):
        for node in ast.walk(_tree(FILES[module])):
            found = _prefixes_in_a_table(node)
            assert len(found) < 2, f"{module} has a table of prefixes of its own ({found}): use meterlog.text.units"


def test_a_second_table_of_prefixes_would_be_seen() -> None:
    for table in ('{"m": -3, "k": 3}', '((1e-3, "m"), (1e3, "k"))', '{3: "k", 6: "M"}'):
        assert len(_prefixes_in_a_table(ast.parse(table, mode="eval").body)) == 2
    assert not _prefixes_in_a_table(ast.parse('{"m": "k"}', mode="eval").body)

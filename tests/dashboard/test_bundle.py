"""The browser's modules come as one file: each runs once, after those that it imports, and sees what they export."""

from __future__ import annotations

from graphlib import CycleError

import pytest

from meterlog_dashboard.frame.bundle import bundle

MODULES = {
    "live/page.js": 'import { one, two } from "../frame/dom.js";\nimport * as words from "./words.js";\n',
    "live/words.js": "export const limit = 3; // words\nexport async function ask(a) { return a; }\n",
    "frame/dom.js": "const own = 1;\nexport function one() { return own; }\nexport const two = 2;\n",
}


def test_each_module_stands_after_what_it_imports_and_keeps_its_names_to_itself() -> None:
    text = bundle(MODULES)
    assert text.index('modules["frame/dom.js"] = ') < text.index('modules["live/page.js"] = ')
    assert 'const { one, two } = modules["frame/dom.js"];' in text
    assert 'const words = modules["live/words.js"];' in text
    assert "return { one, two };" in text
    assert "return { limit, ask };" in text
    assert "export" not in text
    assert "import" not in text


@pytest.mark.parametrize(
    "line",
    [
        'import one from "./words.js";',
        "export default 1;",
        "export let shown = 1;",
        "export { own };",
        'import { limit as most } from "./words.js";',
        'import "./words.js";',
        'import { limit } from "./gone.js";',
    ],
)
def test_another_form_is_refused_at_the_start_and_named(line: str) -> None:
    with pytest.raises(ValueError, match=r"live/page\.js|gone\.js"):
        bundle({**MODULES, "live/page.js": f"{line}\n"})


def test_modules_that_import_each_other_are_refused() -> None:
    with pytest.raises(CycleError):
        bundle({"a.js": 'import { b } from "./b.js";\n', "b.js": 'import { a } from "./a.js";\n'})

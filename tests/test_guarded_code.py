"""Architecture: nothing in the code runs what a file or a person says."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGES = ("tracker", "classify", "ui", "fixtures")

NEVER_IMPORTED = {"pickle", "cPickle", "dill", "cloudpickle", "marshal", "shelve", "yaml", "code"}
NEVER_CALLED = {
    "eval", "exec", "compile", "__import__", "joblib.load", "np.load", "numpy.load", "os.system",
    "os.popen", "subprocess.getoutput", "tempfile.mktemp", "yaml.load", "pd.read_pickle",
    "torch.load",
}  # fmt: skip
REGULAR_EXPRESSION = {"re.compile"}


def sources() -> Iterator[Path]:
    """Every module of the project, the tests and benchmarks too."""
    for package in (*PACKAGES, "tests"):
        yield from sorted((ROOT / package).rglob("*.py"))


def dotted(node: ast.expr) -> str:
    """Name of what is called, as it is written."""
    if isinstance(node, ast.Attribute):
        return f"{dotted(node.value)}.{node.attr}"
    return node.id if isinstance(node, ast.Name) else "?"


def found_in(text: str) -> list[str]:
    """List what a module imports or calls that it must not."""
    found = []
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            found += [name.name for name in node.names if name.name.split(".")[0] in NEVER_IMPORTED]
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            names = {f"{node.module}.{name.name}" for name in node.names}
            if str(node.module).split(".")[0] in NEVER_IMPORTED:
                found.append(str(node.module))
            found += sorted(names & NEVER_CALLED)
        elif isinstance(node, ast.Call):
            name = dotted(node.func)
            if name in NEVER_CALLED:
                found.append(name)
            for keyword in node.keywords:
                value = getattr(keyword.value, "value", None)
                if keyword.arg == "shell" and value is not False:
                    found.append(f"{name}(shell=...)")
                if keyword.arg == "allow_pickle" and value is not False:
                    found.append(f"{name}(allow_pickle=...)")
                if keyword.arg == "unsafe_allow_html" and value is not False:
                    found.append(f"{name}(unsafe_allow_html=...)")
                if keyword.arg == "unsafe_allow_javascript" and value is not False:
                    found.append(f"{name}(unsafe_allow_javascript=...)")
    return found


@pytest.mark.parametrize(
    "bad",
    [
        "import pickle", "from pickle import loads", "import yaml", "eval('1')", "exec(x)",
        "np.load('a', allow_pickle=True)", "joblib.load('m')", "from joblib import load",
        "subprocess.run('ls', shell=True)", "os.system('ls')",
        "st.markdown(x, unsafe_allow_html=y)",
    ],
)  # fmt: skip
def test_the_search_finds_what_it_looks_for(bad):
    """Otherwise it could not fail."""
    assert found_in(bad)


def test_no_code_runs_what_it_is_given():
    """No pickle, no eval, no shell, no page that lets HTML through: nowhere in the project."""
    here = [
        f"{path.relative_to(ROOT)}: {what}"
        for path in sources()
        for what in found_in(path.read_text(encoding="utf-8"))
    ]
    assert here == []


def test_scripts_of_pages_run_no_text():
    """JavaScript too: no eval, no text made into code; HTML is set from our own drawings alone."""
    allowed = {
        "chart_part.js": 1,  # pictures of ui/drawing.py, which escapes every text
        "picker.js": 1,  # a drawing that stands in the script itself
        "viewer.js": 1,  # pictures of ui/drawing.py again
    }
    for path in sorted((ROOT / "ui").glob("*.js")):
        text = path.read_text(encoding="utf-8")
        for word in ("eval(", "new Function", "document.write", "outerHTML", "insertAdjacentHTML"):
            assert word not in text, path.name
        assert text.count("innerHTML") == allowed.get(path.name, 0), path.name

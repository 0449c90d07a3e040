"""The flow has one direction: nothing imports from further right, families do not import each other."""

import ast
from pathlib import Path

import pytest

import deskproof

ROOT = Path(deskproof.__file__).parent
# From left to right; a module may import from its own column and from those to its left.
COLUMNS = (
    ("errors", "files", "pitch", "values", "chords", "score", "words", "demo"),
    (
        "page",
        "facts",
        "musicxml.elements",
        "musicxml.notes",
        "musicxml.attributes",
        "musicxml.directions",
        "instrument_names",
        "instruments",
        "musicxml.writing_attributes",
        "musicxml.writing_beams",
        "musicxml.writing_directions",
        "musicxml.writing_head",
        "musicxml.writing_lengths",
        "musicxml.writing_marks",
        "musicxml.writing_tuplets",
    ),
    ("musicxml.measures",),
    ("musicxml.reader", "musicxml.container", "order", "tempo"),
    ("timeline", "forces", "accidentals", "midi"),
    ("spans", "edits"),
    (
        "findings",
        "musicxml.notations",
        "musicxml.lengths",
        "musicxml.editor",
        "musicxml.slices",
        "musicxml.writing_accidentals",
        "musicxml.writing_notes",
        "musicxml.writer",
    ),
    ("families",),
    ("state",),
    ("recheck", "document", "fingerprint"),
    ("check",),
    ("decisions", "opening", "pages", "places", "gliss", "movements"),
    ("scoring",),
    ("mending", "drafting", "engrave", "draw", "tones"),
    ("footnotes", "planning_notes"),
    ("report", "web", "parts", "sketch"),
    ("cli_sketch",),
    ("cli",),
)
MODULES = sorted(p for p in ROOT.rglob("*.py") if p.name != "__init__.py" or p.parent != ROOT)


def name_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def column(module: str) -> int:
    for i, names in enumerate(COLUMNS):
        if any(module == name or module.startswith(name + ".") for name in names):
            return i
    raise AssertionError(f"{module} stands in no column of tests/test_imports.py; put it where it belongs")


def imported(path: Path) -> set[str]:
    """The deskproof modules that a file imports at run time, at any depth."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    skipped = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
        for inner in ast.walk(node)
    }
    found = set()
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        names = []
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("deskproof"):
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names if alias.name.startswith("deskproof.")]
        for name in names:
            inner = name.removeprefix("deskproof").strip(".")
            while inner and not any(
                (ROOT / f"{inner.replace('.', '/')}{end}").exists() for end in (".py", "/__init__.py")
            ):
                inner = inner.rpartition(".")[0]
            if inner:
                found.add(inner)
    return found


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_a_module_imports_only_from_its_left(path):
    own = name_of(path)
    if own == "musicxml":
        return
    for other in imported(path) - {own}:
        if other == "musicxml":
            continue
        assert column(other) <= column(own), f"{own} imports {other}, which stands to its right"


def test_the_columns_hold_something():
    assert len(MODULES) > 25
    assert any(imported(path) for path in MODULES)


@pytest.mark.parametrize("path", [p for p in MODULES if p.parent.name == "families"], ids=name_of)
def test_families_do_not_import_each_other(path):
    if path.stem in ("__init__", "base"):
        return
    for other in imported(path):
        assert not other.startswith("families.") or other == "families.base"


@pytest.mark.parametrize("path", [p for p in MODULES if p.parent.name == "families"], ids=name_of)
def test_families_hold_no_tag_names_and_no_thresholds(path):
    """No MusicXML element is looked up in a family, and no figure beyond counting stands in one."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    allowed = {-1, 0, 1, 2, 7, 12, 100, 1000, 1_000_000}
    named = {
        node.value
        for statement in tree.body
        if isinstance(statement, ast.Assign | ast.AnnAssign)
        for node in ast.walk(statement)
        if isinstance(node, ast.Constant) and not isinstance(node.value, bool) and isinstance(node.value, int | float)
    }
    sizes = {id(inner) for node in ast.walk(tree) if isinstance(node, ast.keyword) for inner in ast.walk(node.value)
             if node.arg == "maxsize"}  # fmt: skip
    for node in ast.walk(tree):
        if id(node) in sizes:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool):
            assert node.value in allowed | named, (
                f"line {node.lineno}: {node.value} should be a fact or a named constant"
            )
        if isinstance(node, ast.Attribute):
            assert node.attr not in ("find", "findtext", "iterfind") or ast.unparse(node.value) == "facts"
        if isinstance(node, ast.ImportFrom):
            assert "musicxml" not in (node.module or "") and "lxml" not in (node.module or "")

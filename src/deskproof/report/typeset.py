"""Words and pictures -> PDF, by the typesetter, which is loaded when first needed.

The page's look is one file, ``proof.typ``. Everything that comes from a score reaches it as data, so that no word is
ever read as markup; the typesetter is given an empty folder for its world and only the typefaces that come with it.
"""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

from deskproof.engrave import letters
from deskproof.errors import DeskproofError

PAPERS = ("a4", "letter")
LONGEST = 52  # letters of a name at the head of a page

# SMuFL: accidentalDoubleSharp, accidentalDoubleFlat; no typeface of the package has them.
_ENGRAVED = {"𝄪": "\ue263", "𝄫": "\ue264"}
_ACCIDENTALS = range(0xE260, 0xE270)
_LIFT = 250  # thousandths of its size by which an accidental is raised to the middle of a letter
_LARGER = 1.4  # accidentals, beside the words they stand in
_SPACES = re.compile("[\\s\u2028\u2029\u0085]+")
# Controls, marks that turn the direction of all that follows them, half characters, and no characters at all.
_UNPRINTED = re.compile("[\x00-\x08\x0e-\x1f\x7f-\x84\x86-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")
_MUSIC = re.compile("([𝄪𝄫\ue000-\uf8ff])")
_UNKNOWN = "\ufffd"


class TypesetterMissing(DeskproofError):
    """The typesetter is not installed."""


def run_of(text: str, how: Mapping[str, Any], signs: bool = True) -> list[dict[str, Any]]:
    """A text as runs: words, white space as one space, and music signs by name.

    Parameters
    ----------
    text : str
    how : mapping
        How it is set; every run has it.
    signs : bool
        Where False, no outlines can stand among the words: music signs that no typeface has become letters.

    Examples
    --------
    >>> run_of("B𝄫  to\\nA", {})
    [{'text': 'B'}, {'sign': 'E264', 'text': '𝄫'}, {'text': ' to A'}]
    >>> run_of("B𝄫", {}, signs=False)
    [{'text': 'B♭♭'}]
    """
    clean = _UNPRINTED.sub("", _SPACES.sub(" ", text))
    if not signs:
        clean = _MUSIC.sub(lambda found: _LETTERS.get(found[0], _UNKNOWN), clean)
    found: list[dict[str, Any]] = []
    for k, piece in enumerate(_MUSIC.split(clean)):
        char = _ENGRAVED.get(piece, piece)
        if k % 2 and letters.glyph(char) is not None:
            found.append({"sign": f"{ord(char):04X}", **how, "text": piece})
        elif piece:
            found.append({**how, "text": _UNKNOWN if k % 2 else piece})
    return found


_LETTERS = {"𝄪": "♯♯", "𝄫": "♭♭"}


def shape_of(name: str) -> dict[str, Any]:
    """The outline of a music sign as a picture.

    ``size`` is how large it is beside its words, ``width`` and what is ``below`` their line are thousandths of that.
    """
    found = letters.glyph(chr(int(name, 16)))
    assert found is not None
    box = found.box
    wide, high = box.right - box.left, box.bottom - box.top
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}" height="{high:g}" '
        f'viewBox="{box.left:g} {-box.bottom:g} {wide:g} {high:g}">'
        f'<path transform="scale(1,-1)" d="{found.path}"/></svg>'
    )
    accidental = int(name, 16) in _ACCIDENTALS
    lift = _LIFT if accidental else 0
    return {"svg": svg, "size": _LARGER if accidental else 1.0, "width": wide, "below": -box.top - lift}


def typeset(
    blocks: Sequence[Mapping[str, Any]], title: str, running: str, signs: Iterable[str] = (), paper: str = "a4",
    fonts: Sequence[Path] = (),
) -> bytes:  # fmt: skip
    """Lay blocks out as a PDF document; equal input gives equal bytes.

    Parameters
    ----------
    blocks : sequence of dict
        As :func:`deskproof.report.blocks.blocks_of` gives them.
    title : str
        The document's title.
    running : str
        What stands at the head of every page but the first.
    signs : iterable of str
        The names of the music signs among the words.
    paper : str
        One of :data:`PAPERS`.
    fonts : sequence of Path
        Folders of further typefaces, used only for letters that those of the package have not.

    Raises
    ------
    TypesetterMissing
        If the typesetter is not installed.
    ValueError
        If there is no such paper.
    """
    if paper not in PAPERS:
        raise ValueError(f"paper {paper!r} is not known; it is one of {', '.join(PAPERS)}.")
    data = {
        "blocks": list(blocks),
        "title": line_of(title),
        "running": shortened(running),
        "signs": {name: shape_of(name) for name in sorted(set(signs))},
        "paper": paper,
    }
    with tempfile.TemporaryDirectory(prefix="deskproof-") as empty:
        return _compiled(json.dumps(data, ensure_ascii=False), empty, tuple(fonts))


def _compiled(data: str, empty: str, fonts: tuple[Path, ...]) -> bytes:
    faces = _faces(fonts)
    import typst

    compiler = typst.Compiler(root=empty, font_paths=faces, package_path=empty, package_cache_path=empty)
    made = compiler.compile(_look(), format="pdf", sys_inputs={"data": data})
    assert isinstance(made, bytes)
    return made


@cache
def _look() -> bytes:
    return resources.files("deskproof.report").joinpath("proof.typ").read_bytes()


@cache
def _faces(folders: tuple[Path, ...]) -> Any:
    """The typefaces of the package, and those of some folders; none that the machine happens to have."""
    try:
        import typst
    except ImportError:
        raise TypesetterMissing("printing a PDF needs the package typst: pip install typst") from None
    return typst.Fonts(include_system_fonts=False, font_paths=list(folders))


def line_of(text: str) -> str:
    """A text as one line of letters alone."""
    return "".join(run["text"] for run in run_of(text, {}, signs=False)).strip()


def shortened(text: str) -> str:
    """A name short enough for the head of a page."""
    line = line_of(text)
    return line if len(line) <= LONGEST else f"{line[: LONGEST - 1].rstrip()}…"

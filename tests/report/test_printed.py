"""The printed proof: all that the page says, in its order, on paper that nothing from a score can upset."""

from __future__ import annotations

import html
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from lxml import etree
from lxml import html as lxml_html

from corpus import shared
from deskproof import document
from deskproof.check import Report, check
from deskproof.demo import SCORE
from deskproof.document import Document
from deskproof.report import typeset as typeset_module
from deskproof.report.blocks import blocks_of, signs_in
from deskproof.report.printed import proof_pdf
from deskproof.report.proof import proof_html
from deskproof.report.typeset import TypesetterMissing, run_of, typeset
from deskproof.score import NoteRef

typst = pytest.importorskip("typst", reason="the package typst is not installed")

SVG = "{http://www.w3.org/2000/svg}"
SCORES = ["demo", "boulanger-matin-bars-1-100.mxl", "abrams-crazy-jane.mxl"]
# The typefaces that come inside the typesetter's package, as its own list has them.
FACES = {"LibertinusSerif", "NewCM10", "NewCMMath", "DejaVuSansMono"}
A4, LETTER = (595.276, 841.89), (612.0, 792.0)

needs_text = pytest.mark.skipif(not shutil.which("pdftotext"), reason="pdftotext (poppler) is not installed")
needs_info = pytest.mark.skipif(not shutil.which("pdfinfo"), reason="pdfinfo (poppler) is not installed")
needs_fonts = pytest.mark.skipif(not shutil.which("pdffonts"), reason="pdffonts (poppler) is not installed")


@cache
def checked(name: str) -> tuple[Document, Report]:
    read = document.read(SCORE if name == "demo" else shared(name))
    return read, check(read.score)


@cache
def printed(name: str) -> bytes:
    return proof_pdf(*checked(name))


@cache
def page_of(name: str) -> str:
    return proof_html(*checked(name))


def asked(program: str, pdf: bytes, *options: str) -> str:
    """What a program of poppler says of a document."""
    command = [program, *options, "-"] + (["-"] if program == "pdftotext" else [])
    return subprocess.run(command, input=pdf, capture_output=True, check=True).stdout.decode("utf-8")


def sheets(pdf: bytes) -> list[str]:
    """The words of each page."""
    return asked("pdftotext", pdf, "-raw").split("\f")[:-1]


def squeezed(text: str) -> str:
    """Without white space and hyphens, since lines are broken anew on paper."""
    return "".join(text.replace("-", "").split())


def said_in(block: Any) -> Iterator[str]:
    """All words of blocks in their order, written down here once more."""
    if isinstance(block, list):
        for one in block:
            yield from said_in(one)
    elif isinstance(block, dict) and "text" in block:
        yield block["text"]
    elif isinstance(block, dict):
        yield block.get("number", "")
        for name in _IN_ORDER:
            if isinstance(block.get(name), (list, dict)):
                yield from said_in(block[name])


_IN_ORDER = ("level", "runs", "head", "items", "rows", "said", "figure", "tables", "figures", "blocks")


def pictures_in(block: Any) -> Iterator[dict[str, Any]]:
    if isinstance(block, list):
        for one in block:
            yield from pictures_in(one)
    elif isinstance(block, dict):
        if "svg" in block:
            yield block
        for one in block.values():
            yield from pictures_in(one)


# -- nothing is lost -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SCORES)
def test_the_blocks_have_every_word_and_every_picture_of_the_page(name: str) -> None:
    main = lxml_html.fromstring(page_of(name)).xpath("//main")[0]
    drawn = main.xpath(".//*[local-name()='svg']")
    for hidden in [*drawn, *main.xpath(".//*[@class='aside']")]:
        hidden.drop_tree()
    blocks = blocks_of(page_of(name))
    words = squeezed(main.text_content())
    told = squeezed("".join(said_in(blocks)))
    assert sorted(told) == sorted(words) and len(words) > 100
    assert len(list(pictures_in(blocks))) == len(drawn)


@pytest.mark.parametrize("name", SCORES)
def test_a_picture_stands_by_itself_with_all_outlines_it_uses(name: str) -> None:
    pictures = list(pictures_in(blocks_of(page_of(name))))
    assert pictures
    for picture in pictures:
        root = etree.fromstring(picture["svg"])
        there = set(root.xpath("//@id"))
        assert {use.get("href")[1:] for use in root.iter(f"{SVG}use")} <= there
        faces = {*root.xpath("//@font-family")}
        assert faces <= {"Libertinus Serif", "New Computer Modern Math"}


@needs_text
@pytest.mark.parametrize("name", ["demo", "boulanger-matin-bars-1-100.mxl"])
def test_every_finding_stands_whole_on_one_page_and_in_order(name: str) -> None:
    """Its heading, its number with what is wrong, and why; no heading stays behind at the foot of a page."""
    _, report = checked(name)
    pages = [squeezed(sheet) for sheet in sheets(printed(name))]
    heads = lxml_html.fromstring(page_of(name)).xpath("//article/h3/text()")
    assert len(heads) == len(report.findings) > 0
    found = []
    for number, (head, finding) in enumerate(zip(heads, report.findings, strict=True), 1):
        said = squeezed(f"{number}. {finding.level}: {finding.says}")
        at = [k for k, page in enumerate(pages) if said in page]
        assert len(at) == 1
        page = pages[at[0]]
        assert squeezed(head) in page[: page.index(said)]
        assert squeezed(finding.rule.why) in page[page.index(said) :]
        found.append((at[0], page.index(said)))
        rest = "".join(pages[at[0] :])
        for mend in finding.mends:
            assert squeezed(mend.says) in rest
    assert found == sorted(found)


@needs_text
@pytest.mark.parametrize("name", ["demo", "boulanger-matin-bars-1-100.mxl"])
def test_the_page_for_the_harpist_begins_on_a_fresh_sheet(name: str) -> None:
    pages = sheets(printed(name))
    begins = [k for k, page in enumerate(pages) if "Where the foot moves" in page]
    assert len(begins) == 1
    lines = [line for line in pages[begins[0]].split("\n") if line]
    title = checked(name)[0].score.title
    assert lines[:2] == [f"{title} For the harpist: Harp", "For the harpist: Harp"]  # running head, then the heading


@needs_text
@pytest.mark.parametrize("name", SCORES)
def test_every_page_has_its_number_and_all_but_the_first_the_title(name: str) -> None:
    read, _ = checked(name)
    pages = sheets(printed(name))
    for k, page in enumerate(pages, 1):
        lines = [line for line in page.split("\n") if line]
        assert lines.count(f"{k} of {len(pages)}") == 1
        assert (lines[0].startswith(f"{read.score.title} ")) == (k > 1)


@needs_info
@pytest.mark.parametrize("name", SCORES)
def test_there_are_not_more_pages_than_findings_ask_for(name: str) -> None:
    _, report = checked(name)
    pages = int(re.findall(r"Pages: +(\d+)", asked("pdfinfo", printed(name)))[0])
    assert 1 + len(report.findings) // 4 <= pages <= 4 + len(report.findings)


# -- the same on every machine ---------------------------------------------------------------------------------------


def test_equal_input_gives_equal_bytes() -> None:
    """In another process too, whose sets are in another order."""
    program = (
        "import sys; from deskproof import demo, document; from deskproof.check import check\n"
        "from deskproof.report.printed import proof_pdf\n"
        "read = document.read(demo.SCORE); sys.stdout.buffer.write(proof_pdf(read, check(read.score)))"
    )
    environment = {**os.environ, "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"}
    other = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True, env=environment).stdout
    assert other == printed("demo")
    assert b"CreationDate" not in other


@needs_fonts
@pytest.mark.parametrize("name", SCORES)
def test_only_typefaces_of_the_package_are_used_and_they_are_embedded(name: str) -> None:
    rows = asked("pdffonts", printed(name)).split("\n")[2:-1]
    assert rows
    for row in rows:
        name_, _, rest = row.partition(" ")
        assert re.fullmatch(rf"[A-Z]{{6}}\+({'|'.join(FACES)})(-.*)?", name_), row
        assert rest.split()[-5:-2] == ["yes", "yes", "yes"]  # embedded, a subset, with its letters as text


def test_the_typesetter_has_an_empty_world(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[list[Path], bool, set[str]]] = []
    real = typst.Compiler

    def compiler(*arguments: Any, **named: Any) -> Any:
        root = Path(named["root"])
        alone = {named["root"], named["package_path"], named["package_cache_path"]} == {named["root"]}
        seen.append((list(root.iterdir()), alone, set(named["font_paths"].families())))
        return real(*arguments, **named)

    monkeypatch.setattr(typst, "Compiler", compiler)
    proof_pdf(*checked("abrams-crazy-jane.mxl"))
    faces = set(typst.Fonts(include_system_fonts=False).families())
    assert seen == [([], True, faces)]


def test_a_picture_cannot_bring_in_a_file(tmp_path: Path) -> None:
    """Even one that would try is refused by the typesetter, and nothing is printed."""
    (tmp_path / "x.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>')
    for link in ("/etc/hostname", str(tmp_path / "x.svg"), "x.svg", "../x.svg"):
        image = f'<image href="{link}" width="9" height="9"/>'
        svg = f'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9">{image}</svg>'
        with pytest.raises(typst.TypstError, match="image"):
            typeset([figure(svg, 9, 9)], "t", "t")


def test_without_the_typesetter_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    typeset_module._faces.cache_clear()
    monkeypatch.setitem(sys.modules, "typst", None)
    with pytest.raises(TypesetterMissing, match="pip install typst"):
        typeset([], "t", "t")


# -- whatever a score calls itself -----------------------------------------------------------------------------------

NASTY = '#include "x" \\ $a$ *b* _c_ <a> @d `e` // f /* g */ = - + ~ \' & [h] {i} #{panic()} \\u{41} %20 ;'


def nasty_demo() -> bytes:
    escaped = html.escape(NASTY).encode()
    data = SCORE.read_bytes()
    data = data.replace(b"<part-name>Celesta</part-name>", b"<part-name>%s</part-name>" % escaped)
    data = data.replace(
        b"<part-name>Flute 2</part-name>",
        b"<part-name>%s\n\tnext \xd7\xa9\xd7\x9c\xd7\x95\xd7\x9d</part-name>" % escaped,
    )
    data = data.replace(b"<part-name>Oboe</part-name>", "<part-name>Oboe \U0001f600</part-name>".encode())
    data = re.sub(rb"<work-title>[^<]*</work-title>", lambda _: b"<work-title>%s</work-title>" % escaped, data)
    data = re.sub(rb"(<words[^>]*>)[^<]*</words>", lambda m: m[1] + escaped + b"</words>", data)
    return re.sub(rb'<measure number="27"', lambda _: b'<measure number="%s"' % escaped, data)


@needs_text
def test_names_in_the_score_are_text_and_never_markup() -> None:
    read = document.from_bytes(nasty_demo())
    report = check(read.score)
    assert sum(NASTY in part.name for part in read.score.parts) == 2
    pdf = proof_pdf(read, report, file=f"{NASTY}.musicxml")
    text = squeezed("".join(sheets(pdf)))
    plain = squeezed(NASTY)
    assert f"Proofof“{plain}”" in text
    assert f"{plain}.musicxml:" in text
    assert f"{plain}next" in text
    assert "Oboe \U0001f600" in list(said_in(blocks_of(proof_html(read, report))))  # a box on paper: no typeface has it
    assert "שלום" in text or "םולש" in text  # the program may give letters as they stand on paper
    assert text.count(plain) > 8


def test_characters_that_are_none_are_left_out_and_music_signs_are_drawn() -> None:
    runs = run_of("A\x00\x07 \u202eB𝄫 \ue0a4 \uf7ff\u2028C", {})
    assert [run["text"] for run in runs] == ["A B", "𝄫", " ", "\ue0a4", " ", "\ufffd", " C"]
    assert [run.get("sign") for run in runs] == [None, "E264", None, "E0A4", None, None, None]
    assert signs_in([{"items": [runs]}]) == {"E264", "E0A4"}
    row = {"kind": "words", "quiet": False, "runs": runs}
    assert typeset([row], "t", "t", signs_in([row])).startswith(b"%PDF")


@needs_text
@needs_fonts
def test_accidentals_and_notes_in_words_are_letters_that_a_typeface_has() -> None:
    """A letter that no typeface has makes no typeface come in, and comes out of none as a box."""
    row = {"kind": "words", "quiet": False, "runs": run_of("B♭ C♮ F♯ ♩ ♪ ½ ⅔ ⅘ “–”", {})}
    pdf = typeset([row], "t", "t")
    assert squeezed("B♭ C♮ F♯ ♩ ♪ ½ ⅔ ⅘ “–”") in squeezed(asked("pdftotext", pdf))
    assert sorted(re.findall(r"\+(\w+)", asked("pdffonts", pdf))) == ["LibertinusSerif", "NewCMMath"]


def test_a_link_that_leads_nowhere_is_words() -> None:
    heading = {"kind": "heading", "level": 3, "label": "here", "runs": [{"text": "Here"}], "short": "Here"}
    words = {"kind": "words", "quiet": False, "runs": [{"text": "a", "to": "here"}, {"text": "b", "to": "nowhere"}]}
    linked, unlinked = (typeset(rows, "t", "t") for rows in ([heading, words], [words]))
    assert (linked.count(b"/Link"), unlinked.count(b"/Link")) == (2, 0)  # the area, and its place in the structure


# -- paper -----------------------------------------------------------------------------------------------------------


def figure(svg: str, width: float, height: float) -> dict[str, Any]:
    return {"kind": "figure", "pictures": [{"svg": svg, "width": width, "height": height, "said": "x"}], "said": []}


def boxes(pdf: bytes) -> list[tuple[int, str, float, float, float, float]]:
    """Every word with its page and its box in points."""
    found = []
    root = etree.fromstring(asked("pdftotext", pdf, "-bbox").encode(), etree.XMLParser(recover=True))
    for k, page in enumerate(root.iter("{*}page")):
        for word in page.iter("{*}word"):
            at = [float(word.get(name)) for name in ("xMin", "yMin", "xMax", "yMax")]
            found.append((k, word.text, *at))
    return found


@needs_info
def test_the_paper_may_be_chosen() -> None:
    for paper, (wide, high) in (("a4", A4), ("letter", LETTER)):
        pdf = proof_pdf(*checked("abrams-crazy-jane.mxl"), paper=paper)
        size = re.findall(r"Page size: +([\d.]+) x ([\d.]+)", asked("pdfinfo", pdf))[0]
        assert [float(one) for one in size] == pytest.approx([wide, high], abs=0.01)
    with pytest.raises(ValueError, match="a4, letter"):
        proof_pdf(*checked("abrams-crazy-jane.mxl"), paper="foolscap")


@needs_text
@pytest.mark.parametrize(("width", "height"), [(4000, 300), (300, 6000), (9000, 9000), (100, 50)])
def test_a_picture_of_any_size_is_shown_whole_with_its_words(width: int, height: int) -> None:
    corner = 0.1 * min(width, height)
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" font-size="{corner}">'
        f'<text y="{corner}">NW</text><text x="{width}" y="{height}" text-anchor="end">SE</text></svg>'
    )
    words = {"kind": "words", "quiet": False, "runs": [{"text": "beside"}]}
    pdf = typeset([{"kind": "group", "blocks": [figure(svg, width, height), words]}], "t", "t")
    at = {word: rest for _, word, *rest in boxes(pdf)}
    assert {page for page, *_ in boxes(pdf)} == {0}
    x, y = at["NW"][0], at["NW"][1]
    assert x > 40 and y > 40 and at["SE"][2] < A4[0] - 40 and at["SE"][3] < at["beside"][3] < A4[1] - 40
    (left, top, _, _), (_, _, right, bottom) = at["NW"], at["SE"]
    assert (right - left) / (bottom - top) == pytest.approx(width / height, rel=0.15)


@needs_text
def test_a_finding_about_41_parts_fits_one_page() -> None:
    read, report = checked("boulanger-matin-bars-1-100.mxl")
    finding = report.findings[0]
    measure = finding.place.measure
    notes = tuple(NoteRef(part.id, measure, part.measures[measure].notes[0].n) for part in read.score.parts)
    assert len(notes) == 41
    pdf = proof_pdf(read, report, [replace(finding, notes=notes, mends=())])
    pages = sheets(pdf)
    whole = [k for k, page in enumerate(pages) if f"{finding.level}: {finding.says[:20]}" in " ".join(page.split())]
    assert len(whole) == 1
    names = {name for part in read.score.parts for name in part.name.split()}
    between = [row for row in boxes(pdf) if row[0] == whole[0] and 55 < row[3] < 800]
    shown = [row for row in between if row[1] in names]
    assert len(shown) > 40
    for _, _, left, _, right, low in shown:
        assert left > 36 and right < A4[0] - 36 and low < A4[1] - 36


def test_words_and_mends_keep_their_order() -> None:
    """The page's own order, finding by finding, though mends with pictures are kept together and words are not."""
    articles = lxml_html.fromstring(page_of("demo")).xpath("//article")
    text = squeezed("".join(said_in(blocks_of(page_of("demo")))))
    assert len(articles) == len(checked("demo")[1].findings)
    at = 0
    for article in articles:
        for row in article.xpath(".//div[@class='footnote']//*[self::p or self::h4 or self::li]"):
            at = text.index(squeezed(row.text_content()), at) + 1

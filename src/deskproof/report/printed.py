"""The printed proof: what the page of the proof says, laid out on paper as PDF."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from deskproof.check import Report
from deskproof.document import Document
from deskproof.findings import Finding
from deskproof.report.blocks import blocks_of, signs_in
from deskproof.report.proof import proof_html
from deskproof.report.typeset import typeset


def proof_pdf(
    document: Document, report: Report, findings: Sequence[Finding] | None = None, file: str = "", paper: str = "a4",
    fonts: Sequence[Path] = (),
) -> bytes:  # fmt: skip
    """The whole proof as a PDF document; equal input gives equal bytes.

    Parameters
    ----------
    document : Document
        The score that was checked.
    report : Report
        What the check gave.
    findings : sequence of Finding, optional
        Those to print, in the order in which they are numbered; all of the report if None.
    file : str
        The name to print for the score; by default that of the document.
    paper : str
        ``a4`` or ``letter``.
    fonts : sequence of Path
        Folders of further typefaces, for scripts that those of the typesetter have not. They have Latin, Greek,
        Cyrillic and Hebrew; other letters without a typeface are printed as boxes.

    Raises
    ------
    EngraverMissing
        If the engraver is not installed.
    TypesetterMissing
        If the typesetter is not installed.
    ValueError
        If there is no such paper.
    """
    name = file or Path(document.name).name
    blocks = blocks_of(proof_html(document, report, findings, name))
    title = report.state.score.title
    head = f"Proof of “{title}”" if title else f"Proof of {name}"
    return typeset(blocks, head, title or name, signs_in(blocks), paper, fonts)

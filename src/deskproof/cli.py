"""The command line. Everything heavy is imported inside the commands, so that ``--help`` answers at once."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from deskproof import __version__, cli_sketch
from deskproof.errors import DeskproofError

if TYPE_CHECKING:
    from deskproof.check import Report
    from deskproof.document import Document
    from deskproof.families import Help
    from deskproof.findings import Finding, Mend
    from deskproof.forces import Forces
    from deskproof.movements import Before
    from deskproof.report.as_json import Since

LEVELS = ("impossible", "hard", "notation", "advice")
SUFFIXES = (".musicxml", ".mxl", ".xml", ".mid", ".midi")
FOUND, UNREADABLE = 1, 2


class _Group(click.Group):
    """Turns our own errors into a message and exit status 2."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except DeskproofError as error:
            click.echo(f"deskproof: {error}", err=True)
            ctx.exit(UNREADABLE)


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="deskproof")
def main() -> None:
    """Proof a score before it goes to the stands: what cannot be played, why, in figures, and what would mend it."""


_common = [
    click.option("--forces", type=click.Path(path_type=Path), help="The players in the room (TOML)."),
    click.option("--part", "parts", multiple=True, help="Only this part, by name or id; may be repeated."),
    click.option("--bars", help="Only findings in these bars, as printed: 12-40 or 12."),
    click.option(
        "--harmonics", type=click.Choice(("string", "sounding")),
        help="How a harp's harmonics are written: where they are played, or as they sound; else the score tells.",
    ),
    click.option(
        "--pedals", is_flag=True,
        help="Say too where a piano needs the damper pedal, where it would blur, where the sostenuto would serve.",
    ),
]  # fmt: skip


def _options(function: Any) -> Any:
    for option in reversed(_common):
        function = option(function)
    return function


@main.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@_options
@click.option("--json", "as_json", is_flag=True, help="The findings as JSON; several files, one line each.")
@click.option("--notes", is_flag=True, help="With every sounding note in the JSON.")
@click.option("--sarif", is_flag=True, help="The findings as SARIF 2.1.0.")
@click.option("--since", type=click.Path(path_type=Path), help="An older export: say what is new, gone, still there.")
@click.option(
    "--movements", is_flag=True,
    help="The files are the movements of one piece, in this order: say what players do between them.",
)
@click.option("--quiet", is_flag=True, help="Only the count of findings.")
@click.option(
    "--exit-at", type=click.Choice(LEVELS), default="impossible", show_default=True,
    help="Exit status 1 from this level on.",
)  # fmt: skip
def check(
    files: Sequence[Path],
    forces: Path | None,
    parts: Sequence[str],
    bars: str | None,
    harmonics: str | None,
    pedals: bool,
    as_json: bool,
    notes: bool,
    sarif: bool,
    since: Path | None,
    movements: bool,
    quiet: bool,
    exit_at: str,
) -> None:
    """Check scores (.musicxml, .mxl, .xml) or folders of them."""
    if sarif and (as_json or notes):
        raise click.UsageError("--sarif goes without --json and --notes.")
    names = list(_named(files))
    if since and len(names) > 1:
        raise click.UsageError("--since goes with one score.")
    if movements and len(names) < 2:
        raise click.UsageError("--movements goes with several scores, one for each movement.")
    form = "sarif" if sarif else "notes" if notes else "json" if as_json else "quiet" if quiet else "text"
    asked = _Asked(_forces(forces, harmonics, pedals), tuple(parts), bars, form, since, len(names), _width())
    status = 0
    logs: list[dict[str, Any]] = []
    for answer in _in_order(names, asked) if movements else _answers(names, asked):
        if answer.error:
            click.echo(f"deskproof: {answer.error}", err=True)
            status = UNREADABLE
            continue
        if status == 0 and any(LEVELS.index(level) <= LEVELS.index(exit_at) for level in answer.levels):
            status = FOUND
        if sarif:
            logs.append(answer.log or {})
        else:
            click.echo(answer.text)
    if sarif:
        from deskproof.report import as_sarif

        click.echo(json.dumps(as_sarif.joined(logs), ensure_ascii=False, indent=1))
    sys.exit(status)


@dataclass(frozen=True)
class _Asked:
    """What ``check`` was asked for, the same for every score."""

    forces: Forces
    parts: tuple[str, ...]
    bars: str | None
    form: str  # text, quiet, json, notes, sarif
    since: Path | None
    scores: int
    width: int


@dataclass(frozen=True)
class _Answer:
    """What is said of one score: a text, or a SARIF log, or why it could not be read."""

    text: str = ""
    log: dict[str, Any] | None = None
    levels: tuple[str, ...] = ()
    error: str = ""


POOL_FROM = 8  # scores; fewer are done sooner than other processes have started


def _answers(names: list[Path], asked: _Asked) -> Iterator[_Answer]:
    """The answers in the order of the scores; many scores are shared out among all cores."""
    if len(names) < POOL_FROM:
        yield from (_answer(path, asked) for path in names)
        return
    from concurrent.futures import ProcessPoolExecutor
    from functools import partial

    with ProcessPoolExecutor() as pool:
        answers = pool.map(partial(_answer, asked=asked), names, chunksize=4)
        if not sys.stderr.isatty():
            yield from answers
            return
        with click.progressbar(answers, length=len(names), label="Checking", file=sys.stderr) as bar:
            yield from bar


def _in_order(names: Sequence[Path], asked: _Asked) -> Iterator[_Answer]:
    """The answers of the movements of one piece; one that cannot be read parts those around it."""
    from deskproof.movements import in_order

    run: list[_Checked] = []
    for path in [*names, None]:
        error = ""
        if path is not None:
            try:
                run.append(_checked(path, asked.forces, asked.parts, None, False))
                continue
            except DeskproofError as refused:
                error = str(refused)
        for one, (report, before) in zip(run, in_order([one.report for one in run]), strict=True):
            yield _in_words(_shown(one.path, one.document, report, asked.bars), asked, None, before)
        run = []
        if error:
            yield _Answer(error=error)


def _answer(path: Path, asked: _Asked) -> _Answer:
    """Check one score and put the answer into words."""
    try:
        one = _checked(path, asked.forces, asked.parts, asked.bars, asked.scores == 1)
        compared = _since(asked.since, one, asked.forces, asked.parts) if asked.since else None
    except DeskproofError as error:
        return _Answer(error=str(error))
    return _in_words(one, asked, compared)


def _in_words(one: _Checked, asked: _Asked, compared: Since | None, before: Before | None = None) -> _Answer:
    levels = tuple(finding.level for finding in one.findings)
    if asked.form == "sarif":
        from deskproof.report import as_sarif

        log = as_sarif.run(str(one.path), one.report.state, one.findings, _lines(one.document, one.findings))
        return _Answer(log=log, levels=levels)
    if asked.form in ("json", "notes"):
        from deskproof.report import as_json as writer

        state, notes = one.report.state, asked.form == "notes"
        answer = writer.report(state, one.findings, str(one.path), notes, one.silenced, compared, before)
        return _Answer(json.dumps(answer, ensure_ascii=False, indent=None if asked.scores > 1 else 1), levels=levels)
    return _Answer(_words(one, asked.form == "quiet", asked.width, compared, before), levels=levels)


def _named(files: Sequence[Path]) -> Iterator[Path]:
    """The files named, and the scores in the folders named."""
    for path in files:
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if p.suffix.lower() in SUFFIXES and p.is_file())
            if not inside:
                raise DeskproofError(f"{path}: a folder without scores ({', '.join(SUFFIXES)}).")
            yield from inside
        else:
            yield path


def _forces(path: Path | None, harmonics: str | None, pedals: bool) -> Forces:
    from deskproof import forces

    room = forces.read(path) if path else forces.Forces()
    return replace(room, harmonics=harmonics or room.harmonics, pedals=pedals or room.pedals)


@dataclass(frozen=True)
class _Checked:
    """A score read and checked; ``findings`` are those asked for and not let stand."""

    path: Path
    document: Document
    report: Report
    findings: list[Finding]
    silenced: list[tuple[str, str]]


def _checked(
    path: Path, room: Forces, parts: Sequence[str], bars: str | None, alone: bool = True
) -> _Checked:
    from deskproof.opening import opened

    found = opened(path, room, parts, alone)
    return _shown(path, found.document, found.report, bars)


def _shown(path: Path, read: Document, report: Report, bars: str | None) -> _Checked:
    """A checked score with the findings that are not let stand, of the bars asked for."""
    from deskproof import decisions

    findings, silenced = decisions.silenced(report.findings, decisions.read(decisions.beside(path)))
    if bars:
        first, last = _range(bars)
        numbers = {i: _leading(m.number) for part in read.score.parts for i, m in enumerate(part.measures)}
        findings = [
            f
            for f in findings
            if any(first <= (numbers.get(m) or 0) <= last for m in {f.place.measure, *(ref.measure for ref in f.notes)})
        ]
    return _Checked(path, read, report, findings, silenced)


def _range(bars: str) -> tuple[int, int]:
    first, dash, last = bars.partition("-")
    try:
        return int(first), int(last) if dash else int(first)
    except ValueError:
        raise click.UsageError(f"--bars {bars!r}: expected 12-40 or 12.") from None


def _leading(number: str) -> int | None:
    digits = ""
    for char in number:
        if not char.isdecimal():
            break
        digits += char
    return int(digits) if digits else None


def _lines(document: Document, findings: Sequence[Finding]) -> dict[Any, int]:
    from deskproof.errors import DeskproofError as Refused
    from deskproof.musicxml import editor

    if document.container.entry:
        return {}
    try:
        return editor.lines(document.container.score, {f.notes[0] for f in findings if f.notes})
    except Refused:
        return {}


def _width() -> int:
    import shutil

    return min(shutil.get_terminal_size().columns, 120) if sys.stdout.isatty() else 0


def _since(old: Path, one: _Checked, room: Forces, parts: Sequence[str]) -> Since:
    """Compare with an older export, by fingerprint."""
    from deskproof.report import as_json as writer

    before = _checked(old, room, parts, None)
    now = {f.id for f in one.report.findings}
    had = {f.id for f in before.report.findings}
    return writer.Since(
        str(old),
        [f.id for f in one.findings if f.id not in had],
        [writer.one(before.report.state, f) for f in before.report.findings if f.id not in now],
        [f.id for f in one.findings if f.id in had],
    )


def _words(
    one: _Checked, quiet: bool, width: int, compared: Since | None = None, before: Before | None = None
) -> str:
    """What the terminal shows of one score."""
    from deskproof import decisions
    from deskproof.report import as_text

    state, file = one.report.state, str(one.path)
    if quiet:
        return f"{file}: {as_text.summary(one.findings)}"
    rows = [as_text.header(state, file)]
    if before is not None and (said := as_text.before_it(state, before)):
        rows.append(said)
    if one.findings:
        rows.append(as_text.findings_text(state, one.findings, file, width, compared.new if compared else ()))
    if compared:
        rows.append(as_text.since(compared))
    rows.append(as_text.summary(one.findings))
    if one.silenced:
        rows.append(f"{len(one.silenced)} let stand by {decisions.beside(one.path).name}.")
    return "\n".join(rows)


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@_options
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Where to write; else NAME-mended beside it.")
@click.option("--all-keeping-sound", is_flag=True, help="Take all mends that keep the sound (the default).")
@click.option("--take", "taken", multiple=True, metavar="ID", help="Take this mend; may be repeated.")
@click.option(
    "--pedal-marks", type=click.Choice(("all", "first", "none")), default="none", show_default=True,
    help="Print the harp's pedals: settings and every change, settings only, or nothing.",
)  # fmt: skip
@click.option("--pedal-text", is_flag=True, help="Pedal settings as words, for programs that drop the diagram.")
@click.option("--tuning-marks", is_flag=True, help="Print the timpani's tuning, and each retuning where it goes.")
@click.option("--fingering", is_flag=True, help="Print fingers on the notes of keyboards; printed ones stay.")
@click.option(
    "--damper", type=click.Choice(("lines", "words", "none")), default="none", show_default=True,
    help="Print the damper pedal where a piano's notes need it: signs, the words con Ped., or nothing.",
)  # fmt: skip
@click.option("--dry-run", is_flag=True, help="Say what would be written, and write nothing.")
@click.option("--force", is_flag=True, help="Write over an existing output.")
def mend(
    file: Path,
    forces: Path | None,
    parts: Sequence[str],
    bars: str | None,
    harmonics: str | None,
    output: Path | None,
    all_keeping_sound: bool,
    taken: Sequence[str],
    pedals: bool,
    pedal_marks: str,
    pedal_text: bool,
    tuning_marks: bool,
    fingering: bool,
    damper: str,
    dry_run: bool,
    force: bool,
) -> None:
    """Write mends into a copy of the score; all else in the file stays as it is."""
    from deskproof.families import Help

    if pedal_text and pedal_marks == "none":
        raise click.UsageError("--pedal-text goes with --pedal-marks all or first.")
    keeping = all_keeping_sound or not taken
    room = _forces(forces, harmonics, pedals)
    helping = Help(pedal_marks, pedal_text, fingering, damper, tuning_marks)
    _mend(file, room, parts, bars, output, keeping, taken, dry_run, force, helping)


def _mend(
    file: Path,
    room: Forces,
    parts: Sequence[str],
    bars: str | None,
    output: Path | None,
    keeping: bool,
    taken: Sequence[str],
    dry_run: bool,
    force: bool,
    helping: Help,
) -> None:
    from deskproof import mending
    from deskproof.files import may_write

    one = _checked(file, room, parts, bars)
    document, report, findings = one.document, one.report, one.findings
    one.document.needs_musicxml(one.path, "mends are written into MusicXML")
    target = output or file.with_name(f"{file.stem}-mended{file.suffix}")
    if not dry_run:
        may_write(target, file, force)
    chosen = mending.chosen(findings, keeping, taken)
    result = mending.take(document, report, [mend for _, _, mend in chosen])
    for id_, finding, taking in chosen:
        click.echo(f"{_where(report, finding)}: {taking.says} ({id_}{_refused(taking, result.left)})")
    written = mending.helped(result.document, room, helping, tuple(report.state.spans))
    added = written.edits[len(result.document.edits) :]
    if helping:
        click.echo(f"{file}: {mending.help_in_words(added, helping)}.")
    if not chosen and not added:
        click.echo(f"{file}: no mend to take; the copy is the same to the byte.")
    if dry_run:
        click.echo("Nothing was written.")
        return
    _write(target, written)
    after = mending.summary(written, room, report)
    click.echo(f"Wrote {target}. {after}")


def _refused(mend: Mend, left: Sequence[Mend]) -> str:
    return "; left out: it clashes with one taken before" if mend in left else ""


def _where(report: Report, finding: Finding) -> str:
    from deskproof.places import where

    return where(report.state, finding)


def _write(target: Path, document: Document) -> None:
    """Write plain MusicXML or .mxl by the name of the target."""
    from deskproof.files import write_whole

    data = document.written()
    write_whole(target, document.container.compressed(data) if target.suffix.lower() == ".mxl" else data)


@main.command()
@click.argument("file", type=click.Path(path_type=Path))
@_options
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Where to write; else NAME-proof.html beside it.")
@click.option("--force", is_flag=True, help="Write over an existing output.")
def report(
    file: Path, forces: Path | None, parts: Sequence[str], bars: str | None, harmonics: str | None,
    pedals: bool, output: Path | None, force: bool,
) -> None:
    """Write the proof of a score: the findings with the music engraved, before and after each mend.

    One HTML page, or a PDF to be printed if the output is named so (proof.pdf).
    """
    from deskproof.files import may_write
    target = output or file.with_name(f"{file.stem}-proof.html")
    may_write(target, file, force)
    one = _checked(file, _forces(forces, harmonics, pedals), parts, bars)
    one.document.needs_musicxml(one.path, "the proof is engraved from MusicXML")
    click.echo(f"Wrote {_proof(one, target)}. " + _words(one, True, 0).partition(": ")[2])


def _proof(one: _Checked, target: Path) -> Path:
    from deskproof.files import write_whole
    if target.suffix.lower() == ".pdf":
        from deskproof.report.printed import proof_pdf

        write_whole(target, proof_pdf(one.document, one.report, one.findings, one.path.name))
        return target
    from deskproof.report.proof import proof_html

    write_whole(target, proof_html(one.document, one.report, one.findings, one.path.name).encode())
    return target


@main.command()
@click.argument("place", type=click.Path(path_type=Path))
@_common[0]
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Of this machine; any free one if not named.")
@click.option("--no-browser", is_flag=True, help="Only say the address.")
def serve(place: Path, forces: Path | None, port: int, no_browser: bool) -> None:
    """Go through the findings of a score, or of a folder of scores, in the browser.

    The page stands on this machine only, at an address that nobody can guess. Ctrl-C ends it.
    """
    from deskproof.report import as_json, as_text
    from deskproof.report.printed import proof_pdf
    from deskproof.report.proof import proof_html, style
    from deskproof.web.desk import Prints
    from deskproof.web.serve import serve as run

    if not place.exists():
        raise DeskproofError(f"{place}: no such file or folder.")
    prints = Prints(as_text.header, as_text.summary, as_json.report, proof_html, proof_pdf, style())
    ends = "Ctrl-C ends it."
    run(place, _forces(forces, None, False), prints, port, not no_browser, lambda at: click.echo(f"{at}\n{ends}"))


@main.command()
@click.argument("rule")
def why(rule: str) -> None:
    """Explain a rule: what it says, why, on which facts it rests, when it is silent."""
    from deskproof import pages

    click.echo(pages.rule_text(rule))


@main.command()
@click.argument("instrument")
def facts(instrument: str) -> None:
    """The figures known of an instrument, each with its source."""
    from deskproof import pages

    click.echo(pages.facts_text(instrument))


@main.command()
@click.argument("wanted")
@click.option("--from", "before", metavar="SETTING", help='The setting before it, as "D C Bb | Eb F G A".')
@click.option("--json", "as_json", is_flag=True, help="All settings as JSON.")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="A page (HTML) with the first octaves engraved.")
@click.option("--force", is_flag=True, help="Write over an existing output.")
def gliss(wanted: str, before: str | None, as_json: bool, output: Path | None, force: bool) -> None:
    """Harp: the pedal settings of a glissando with the WANTED notes ("Bb D F Ab C") or chord ("Bb9", "whole tone").

    All settings that sound just these notes, or, where none does, those with the fewest foreign notes.
    """
    from deskproof import gliss as settings
    from deskproof.files import may_write, write_whole

    if output:
        from deskproof.report.gliss_page import gliss_page

        may_write(output, None, force)
        write_whole(output, gliss_page(settings.asked_for(wanted, before)).encode("utf-8"))
        click.echo(f"Wrote {output}.")
        return
    click.echo(settings.run(wanted, as_json, _width(), before))


@main.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path), default=Path("forces.toml"), show_default=True)
def forces(files: Sequence[Path], output: Path) -> None:
    """Draft the forces of a score, or of all movements of a piece: its players as printed.

    A file that is there is added to, and keeps what it has.
    """
    from deskproof import drafting
    from deskproof.files import may_write, write_whole

    checked = [_checked(path, _forces(None, None, False), (), None) for path in _named(files)]
    for one in checked:
        may_write(output, one.path, True)
    try:
        text = output.read_text(encoding="utf-8") if output.exists() else None
    except (OSError, UnicodeDecodeError) as error:
        raise DeskproofError(f"{output}: cannot be read ({error}); name another file with -o.") from None
    rest = "" if text is None else ", the rest stays"
    first = checked[0]
    title = f"“{first.document.score.title}”" if first.document.score.title else first.path.name
    if len(checked) > 1:
        title = f"{title} and {len(checked) - 1} more"
    text, added = drafting.draft([one.report.state for one in checked], title, text)
    write_whole(output, text.encode("utf-8"))
    click.echo(f"Wrote {output}: {added} player{'s' * (added != 1)} added{rest}.")


@main.command()
@click.option("-o", "--output", type=click.Path(path_type=Path), default=Path("mended.musicxml"), show_default=True)
@click.option("--force", is_flag=True, help="Write over an existing output.")
def demo(output: Path, force: bool) -> None:
    """Check and mend the piece that comes with Deskproof; score its sketch for orchestra, and make it short again."""
    from deskproof.demo import SCORE
    from deskproof.families import Help
    from deskproof.files import may_write

    for target in cli_sketch.demo_outputs(output.parent):
        may_write(target, None, force)
    room = _forces(None, None, False)
    click.echo(_words(replace(_checked(SCORE, room, (), None), path=Path(SCORE.name)), False, _width()))
    click.echo()
    _mend(SCORE, room, (), None, output, True, (), False, force, Help())
    click.echo()
    cli_sketch.demo(output.parent)


for _command in cli_sketch.commands():
    main.add_command(_command)

if __name__ == "__main__":
    main()

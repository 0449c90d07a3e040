"""The commands of the sketch: ``plan``, ``orchestrate``, ``short-score``. Heavy things are imported inside them."""

from __future__ import annotations

import contextlib
import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from deskproof.errors import DeskproofError

if TYPE_CHECKING:
    from deskproof.scoring.hall import Hall
    from deskproof.scoring.plan_reading import Reading
    from deskproof.scoring.planning import Scored

FOUND = 1
_path = click.Path(path_type=Path)


@click.command()
@click.argument("sketch", type=_path)
@click.option("--forces", type=_path, help="The players in the room (TOML); else a usual orchestra.")
@click.option(
    "-o", "--output", type=_path,
    help="The plan (NAME.plan.toml). One that is there is gone on from: what you wrote and fixed in it stays.",
)
@click.option(
    "--scale", type=click.Choice(("rimsky", "sound-power")), help="By which table loudness is reckoned; else rimsky."
)
@click.option("--seconds", type=click.FloatRange(0.5), default=10.0, show_default=True, help="How long to search.")
@click.option("--sheet", type=_path, help="The plan as a ruled sheet too, a page to read or print (.html).")
@click.option("--json", "as_json", is_flag=True, help="The plan as JSON.")
@click.option("--quiet", is_flag=True, help="Only how good the plan is known to be.")
def plan(
    sketch: Path, forces: Path | None, output: Path | None, scale: str | None, seconds: float, sheet: Path | None,
    as_json: bool, quiet: bool,
) -> None:  # fmt: skip
    """Plan the scoring of a sketch: who plays which strand in every phrase, in a text that you own and edit.

    SKETCH has one to four staves, MusicXML or MIDI. Without -o the plan is shown and not kept.
    """
    from deskproof.files import may_write, write_whole
    from deskproof.scoring import plan_json, plan_text, planning
    from deskproof.scoring import sketch as sketch_

    _no_plan(sketch, "plan SKETCH -o PLAN")
    _all_apart(SKETCH=sketch, forces=forces, output=output, sheet=sheet)
    read = sketch_.read(sketch)
    before, text = _plan_there(output)
    for target in (output, sheet):
        if target is not None:
            may_write(target, sketch, True)  # a file that is there is a plan, or was refused
    hall = _hall(forces, before, output)
    with _naming(output if before is not None else None):
        scored = planning.scored(read, hall, before, scale or "", seconds)
    if output is not None:
        write_whole(output, plan_text.write(scored.plan, text, hall=hall).encode())
    if sheet is not None:
        _sheet(scored, sheet, sketch.name)
    if as_json:
        click.echo(json.dumps(plan_json.as_json(scored.plan, scored.passages, read), ensure_ascii=False))
        return
    click.echo(_plan_in_words(scored, quiet))
    if output is not None:
        left = f"; {len(scored.kept)} of {len(scored.passages)} passages left as they were" if before else ""
        click.echo(f"Wrote {output}{left}. Edit it and plan again, or: deskproof orchestrate {sketch} {output} -o FULL")


def _all_apart(**files: Path | None) -> None:
    """Refuse one file for two things, before anything is read or written.

    Raises
    ------
    DeskproofError
        If two of the names lead to one file.
    """
    seen: dict[Path, str] = {}
    for what, path in files.items():
        if path is None:
            continue
        first = seen.setdefault(path.resolve(), what)
        if first != what:
            raise DeskproofError(f"{path}: named as {first} and as {what}. The original is never overwritten; name "
                                 "another file.")  # fmt: skip


@contextlib.contextmanager
def _naming(plan: Path | None) -> Iterator[None]:
    """Put the plan's name before the lines that an error names."""
    try:
        yield
    except DeskproofError as error:
        if plan is None:
            raise
        said = re.sub(r"^(?:plan, )?line (?=\d)", lambda _: f"{plan}, line ", str(error), flags=re.MULTILINE)
        raise DeskproofError(said if str(plan) in said else f"{plan}: {said}") from None


def _plan_there(path: Path | None) -> tuple[Reading | None, str | None]:
    """The plan that stands in a file already, with its text; nothing where there is no file."""
    from deskproof.scoring import plan_reading

    if path is None or not path.is_file():
        return None, None
    text = _text_of(path)
    return plan_reading.reading_of(text, str(path)), text


def _no_plan(sketch: Path, order: str) -> None:
    """Refuse a plan, or forces, where the sketch is expected."""
    if sketch.suffix.casefold() == ".toml":
        raise DeskproofError(f"{sketch}: a text (TOML), not a sketch; the order is: deskproof {order}")


def _text_of(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise DeskproofError(f"{path}: cannot be read ({error}); expected a plan (TOML).") from None


def _hall(forces: Path | None, before: Reading | None, plan: Path | None) -> Hall:
    """Who is in the room; forces and plan must agree where both are given."""
    from deskproof.scoring import hall, planning

    given = hall.read(forces) if forces is not None else None
    if before is None:
        return given or hall.standard()
    if given is not None and not before.plan.forces.strip():
        return given
    known = planning.hall_for(before.plan)
    if given is not None and (given.seats, given.chairs) != (known.seats, known.chairs):
        wrong = sorted({seat.name for seat in given.seats} ^ {seat.name for seat in known.seats})
        what = f"they differ in {', '.join(wrong)}" if wrong else "they differ in what players take or have"
        raise DeskproofError(
            f"{forces}: not the forces of {plan}; {what}. Change the forces in the plan, or plan into another file."
        )
    return known


def _sheet(scored: Scored, target: Path, name: str) -> None:
    from deskproof.files import write_whole
    from deskproof.report import plan_page

    html = plan_page.page(scored.plan, scored.passages, scored.hall, scored.sketch, file=name)
    write_whole(target, html.encode())


def _plan_in_words(scored: Scored, quiet: bool) -> str:
    from deskproof.report import plan_page
    from deskproof.scoring import said

    if quiet:
        return "\n".join([said.status_words(scored.plan), *said.left_words(scored.plan)])
    return plan_page.as_text(scored.plan, scored.passages, scored.hall, scored.sketch, _width())


def _width() -> int:
    import shutil

    return shutil.get_terminal_size((100, 24)).columns if sys.stdout.isatty() else 0


@click.command()
@click.argument("sketch", type=_path)
@click.argument("plan", type=_path)
@click.option("-o", "--output", type=_path, required=True, help="The full score (.musicxml or .mxl).")
@click.option("--midi", type=_path, help="A Standard MIDI File of it too.")
@click.option("--json", "as_json", is_flag=True, help="Every note with the sketch note it comes from, as JSON.")
@click.option("--force", is_flag=True, help="Write over a full score that was edited since, or another file.")
def orchestrate(
    sketch: Path, plan: Path, output: Path, midi: Path | None, as_json: bool, force: bool
) -> None:
    """Write the full score of SKETCH by its PLAN, checked as it is written.

    A full score that this plan wrote before is replaced, unless its bars were edited since: then they are listed.
    """
    from dataclasses import replace

    from deskproof.files import may_write, write_whole
    from deskproof.midi import writing
    from deskproof.musicxml import container
    from deskproof.scoring import plan_text, replanning
    from deskproof.scoring import sketch as sketch_
    from deskproof.sketch import orchestrating

    _no_plan(sketch, "orchestrate SKETCH PLAN -o FULL")
    if not plan.is_file():
        raise DeskproofError(f"{plan}: no such plan. Make one with: deskproof plan {sketch} -o {plan}")
    _all_apart(SKETCH=sketch, PLAN=plan, output=output, midi=midi)
    reading, text = _plan_there(plan)
    assert reading is not None
    own = _is_our_own(output, reading) if not force else False
    may_write(output, sketch, force or own)
    if midi is not None:
        may_write(midi, sketch, force or (own and _is_midi_of(midi, output)))
    read = sketch_.read(sketch)
    with _naming(plan):
        done = orchestrating.orchestrated(read, reading, str(plan))
    data = done.document.written()
    write_whole(output, container.pack(data) if output.suffix.casefold() == ".mxl" else data)
    if midi is not None:
        write_whole(midi, writing.write(done.document.score))
    marked = replace(reading.plan, written=replanning.bar_digests(done.document.score))
    write_whole(plan, plan_text.write(marked, text, reading.new).encode())
    if as_json:
        click.echo(json.dumps(done.as_json(), ensure_ascii=False))
    else:
        click.echo(f"Wrote {output}: " + " ".join(orchestrating.in_words(done)))
    sys.exit(FOUND if done.impossible else 0)


def _is_our_own(path: Path, reading: Reading) -> bool:
    """Whether a full score is there as this plan wrote it.

    Raises
    ------
    DeskproofError
        If bars of it were edited since.
    """
    from deskproof import document
    from deskproof.scoring import replanning

    if not path.is_file() or not reading.plan.written:
        return False
    bars = replanning.differing(reading.plan.written, document.read(path).score)
    if bars:
        many = f"bars {', '.join(bars)} were" if len(bars) > 1 else f"bar {bars[0]} was"
        raise DeskproofError(
            f"{path}: {many} edited since the plan wrote it, and would be lost. Name another file with -o, or add "
            "--force."
        )
    return True


def _is_midi_of(path: Path, full: Path) -> bool:
    """Whether a MIDI file is the one that was written with a full score."""
    from deskproof import document
    from deskproof.midi import writing

    return path.is_file() and path.read_bytes() == writing.write(document.read(full).score)


@click.command("short-score")
@click.argument("full", type=_path)
@click.option("-o", "--output", type=_path, required=True, help="The short score (.musicxml or .mxl).")
@click.option("--staves", type=click.IntRange(2, 4), help="On so many staves; else as many as the lines need.")
@click.option("--for-piano", is_flag=True, help="A part that two hands can play, for rehearsal.")
@click.option("--fingering", is_flag=True, help="With fingers, for the piano part.")
@click.option("--forces", type=_path, help="Whose hands play the piano part (TOML).")
@click.option("--force", is_flag=True, help="Write over an existing output.")
def short_score(
    full: Path, output: Path, staves: int | None, for_piano: bool, fingering: bool, forces: Path | None, force: bool
) -> None:
    """Make a short score of a FULL one: two to four staves at sounding pitch; each note remembers who plays it."""
    from deskproof import forces as forces_
    from deskproof.files import may_write, write_whole
    from deskproof.musicxml import container
    from deskproof.sketch import shortening

    if fingering and not for_piano:
        raise click.UsageError("--fingering goes with --for-piano.")
    _all_apart(FULL=full, forces=forces, output=output)
    may_write(output, full, force)
    room = forces_.read(forces) if forces else forces_.Forces()
    made = shortening.short_score(full, staves, for_piano, fingering, room)
    data = made.document.written()
    write_whole(output, container.pack(data) if output.suffix.casefold() == ".mxl" else data)
    click.echo(f"Wrote {output}: {made.says}")


def demo_outputs(folder: Path) -> tuple[Path, Path, Path]:
    """Where the demo writes the plan, the full score and the short score of its sketch."""
    return folder / "lamps.plan.toml", folder / "lamps-full.musicxml", folder / "lamps-short.musicxml"


def demo(folder: Path) -> None:
    """The sketch that comes along: planned and set for orchestra, and the full score made short again."""
    from deskproof import forces
    from deskproof.demo import SKETCH
    from deskproof.files import write_whole
    from deskproof.scoring import hall, plan_reading, plan_text, planning, said
    from deskproof.scoring import sketch as sketch_
    from deskproof.sketch import orchestrating, shortening

    plan_file, full, short = demo_outputs(folder)
    read = sketch_.read(SKETCH)
    scored = planning.scored(read, hall.standard())
    text = plan_text.write(scored.plan, hall=scored.hall)
    write_whole(plan_file, text.encode())
    known = said.status_words(scored.plan)
    click.echo(f"{SKETCH.name}: “{read.score.title}”, {len(scored.passages)} passages. {known}")
    done = orchestrating.orchestrated(read, plan_reading.reading_of(text, plan_file.name), plan_file.name)
    write_whole(full, done.document.written())
    made = shortening.short_score(full, None, False, False, forces.Forces())
    write_whole(short, made.document.written())
    click.echo(f"Wrote {plan_file}: who plays what; edit it and plan again.")
    click.echo(f"Wrote {full}: " + " ".join(orchestrating.in_words(done)))
    click.echo(f"Wrote {short}: the way back; {made.says}")


def commands() -> list[Any]:
    """The commands of the sketch, in the order of a working day."""
    return [plan, orchestrate, short_score]

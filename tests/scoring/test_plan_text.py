"""The text of a plan: what is read, what is refused and where, and that writing loses nothing of the composer's."""

import re
import tomllib
from collections import Counter
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from deskproof import forces
from deskproof.scoring import hall
from deskproof.scoring.plan_form import KEYS, blocks_of
from deskproof.scoring.plan_text import PlanTextError, parse, read, reading_of, write
from deskproof.scoring.records import Line, Override, PlannedPassage, ScoringPlan, Tacet, Who
from deskproof.scoring.same_bars import common

BAND = """# who is in the room
[players."flute 1"]
plays = ["flute"]
[players."flute 2"]
plays = ["flute", "piccolo"]   # the piccolo too
[players."harp, 1"]
plays = ["harp"]
[players."harp, 2"]
plays = ["harp"]
[players.keyboard]
plays = ["piano", "celesta"]
[sections]
"violin 1" = { desks = 6 }
"violin 2" = { desks = 5 }
cello = { desks = 4 }
"""
CHAIRS = ("flute 1", "flute 2", "piccolo", "harp, 1", "harp, 2", "piano", "celesta", "violin 1", "violin 2", "cello")
PLAN = '''
[forces]
text = """
[players."flute 1"]
plays = ["flute"]
[players."flute 2"]
plays = ["flute", "piccolo"]
[sections]
"violin 1" = { desks = 6 }
"violin 2" = { desks = 5 }
cello = { desks = 4 }
"""

[[passage]]
bars = "1-8"     # up to the fermata
weight = "thin"
  [[passage.line]]
  strand = "tune"
  who = [
    "fl 1",      # as in the old song
    "Vn. II",
  ]
  at = ["8va", "unis"]

  # the cellos need not be pizzicato
  [[passage.line]]
  strand = "bass"
  who = ["vc"]

[[passage]]
bars = "9-16"
'''


def bare(plan):
    """A plan without the lines of its text."""
    return replace(
        plan,
        passages=tuple(
            replace(
                one,
                where=0,
                lines=tuple(replace(line, where=0) for line in one.lines),
                tacet=tuple(replace(row, where=0) for row in one.tacet),
            )
            for one in plan.passages
        ),
    )


def problems(text):
    with pytest.raises(PlanTextError) as caught:
        parse(text, "tide.plan.toml")
    return str(caught.value).splitlines()


# ---------------------------------------------------------------------- any plan there and back

words = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)
names = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=8)
how = st.sampled_from(["", "", "pizz", "arco", "div", "con sord."])


@st.composite
def players(draw):
    chairs = draw(st.lists(st.sampled_from(CHAIRS), min_size=1, max_size=4, unique=True))
    return tuple(Who(chair, draw(st.integers(-2, 2)), draw(how)) for chair in chairs)


@st.composite
def lines(draw):
    who = draw(st.one_of(st.just(()), players()))
    who_else = st.lists(st.sampled_from([*CHAIRS, "strings", "woodwind", "keyboard"]), max_size=2, unique=True)
    return Line(
        draw(names), who, draw(words), draw(st.booleans()), tuple(draw(who_else)), tuple(draw(who_else)),
        draw(st.sampled_from(["planner", "composer"])), draw(words), draw(words),
    )  # fmt: skip


@st.composite
def plans(draw):
    passages = []
    for k in range(draw(st.integers(0, 4))):
        own = draw(st.lists(lines(), max_size=4, unique_by=lambda line: line.strand))
        other = st.lists(st.tuples(names, players() | st.just(())), max_size=2)
        passages.append(
            PlannedPassage(
                f"{8 * k + 1}-{8 * k + 8}", draw(words), draw(words), draw(st.sampled_from(["", "thin", "all"])),
                draw(words), tuple(own),
                tuple(draw(st.lists(st.builds(Tacet, st.just(("strings",)) | st.just(("piano", "cello")), words)))),
                tuple(draw(st.lists(st.builds(Override, st.just("3-4"), st.integers(1, 3), words, names), max_size=2))),
                draw(st.none() | st.integers(0, 999)),
                tuple(
                    (draw(st.integers(0, 99)), tuple(Line(strand, who) for strand, who in draw(other)))
                    for _ in range(draw(st.integers(0, 2)))
                ),
            )
        )  # fmt: skip
    written = draw(st.dictionaries(names, words, max_size=3))
    return ScoringPlan(
        BAND, draw(st.sampled_from(["rimsky", "sound-power"])), tuple(passages), written, draw(words),
        draw(st.integers(0, 50)), draw(words),
    )  # fmt: skip


@settings(deadline=None, max_examples=40, phases=[Phase.generate])
@given(plans())
def test_a_plan_comes_back_as_it_was_and_is_written_once_more_as_the_same_bytes(plan):
    text = write(plan)
    found = reading_of(text)
    assert bare(found.plan) == plan
    assert not found.new
    assert write(found.plan, text) == text
    assert write(plan, text) == text
    assert write(found.plan) == text


@settings(deadline=None, max_examples=40, phases=[Phase.generate])
@given(plans(), plans())
def test_one_plan_written_over_another_is_the_new_plan(old, new):
    text = write(new, write(old))
    found = reading_of(text)
    assert bare(found.plan) == new
    assert not found.new
    assert write(new, text) == text


@settings(deadline=None, max_examples=40, phases=[Phase.generate])
@given(plans(), plans(), st.integers(0, 9999))
def test_no_comment_is_ever_lost(old, new, seed):
    random = Random(seed)
    rows, notes = [], []
    inside = False
    for row in write(old)[:-1].split("\n"):
        was, inside = inside, inside != (row.count("'''") == 1)
        if not was and random.random() < 0.4:
            notes.append(f"# note {len(notes)}: keep!")
            rows += random.choice([[notes[-1]], ["", notes[-1]], [notes[-1], ""], ["", notes[-1], ""]])
        closed = not was and not inside and not row.lstrip().startswith("#") and row.strip()
        if closed and random.random() < 0.3:
            notes.append(f"# aside {len(notes)}: keep!")
            row += f"  {notes[-1]}"
        rows.append(row)
    before = "\n".join(rows) + "\n"
    assert write(reading_of(before).plan, before) == before
    after = write(new, before)
    assert bare(parse(after)) == new
    found = Counter(re.findall(r"# (?:note|aside) \d+: keep!", after))
    assert found == Counter(notes)


@settings(deadline=None, max_examples=30)
@given(plans())
def test_blocks_make_up_the_text_and_the_standard_library_reads_the_same_values(plan):
    text = write(plan)
    assert "".join(block.text() for block in blocks_of(text)) == text
    table = tomllib.loads(text)
    assert [row["bars"] for row in table.get("passage", [])] == [one.bars for one in plan.passages]
    assert table["forces"]["text"] == BAND
    strands = [line["strand"] for row in table.get("passage", []) for line in row.get("line", [])]
    assert strands == [line.strand for one in plan.passages for line in one.lines]


# ---------------------------------------------------------------------- texts by hand


def test_hand_written_text_is_read_with_short_names_and_lines():
    found = reading_of(PLAN)
    first, second = found.plan.passages
    assert first.lines[0].who == (Who("flute 1", 1), Who("violin 2", 0))
    assert first.lines[1].who == (Who("cello"),)
    assert {line.by for line in first.lines} == {"composer"}
    at = PLAN.splitlines()
    assert at[first.where - 1] == at[second.where - 1] == "[[passage]]"
    assert [at[line.where - 1].strip() for line in first.lines] == ["[[passage.line]]"] * 2
    assert found.new == {("1-8", ""), ("1-8", "tune"), ("1-8", "bass"), ("9-16", "")}


@pytest.mark.parametrize("text", [PLAN, PLAN.rstrip("\n"), PLAN.replace("\n", "\r\n"), ""])
def test_an_unchanged_text_stays_byte_for_byte_while_its_lines_are_new(text):
    found = reading_of(text)
    assert write(found.plan, text, found.new) == text


def test_windows_line_ends_stay():
    before = PLAN.replace("\n", "\r\n")
    after = write(replace(parse(before), status="proven"), before)
    assert after.count("\n") == after.count("\r\n") > before.count("\n")


def test_only_what_changed_is_changed():
    found = reading_of(PLAN)
    first, second = found.plan.passages
    louder = replace(first, lines=(replace(first.lines[0], dynamic="p espr."), first.lines[1]))
    after = write(replace(found.plan, passages=(louder, second)), PLAN, found.new)
    added = [row for row in after.splitlines() if row not in PLAN.splitlines()]
    assert 'dynamic = "p espr."' in added
    assert all(row.startswith("#") for row in added if not row.startswith("dynamic"))
    assert set(PLAN.splitlines()) <= set(after.splitlines())


def test_a_line_that_goes_leaves_its_comment_in_the_passage():
    found = reading_of(PLAN)
    first, second = found.plan.passages
    after = write(replace(found.plan, passages=(replace(first, lines=first.lines[:1]), second)), PLAN)
    assert after.count("# the cellos need not be pizzicato") == 1
    passage = after[after.index("[[passage]]") : after.index("[[passage.line]]")]
    assert "# the cellos need not be pizzicato" in passage


def test_players_written_anew_take_their_octaves_along():
    text = PLAN.replace('who = ["vc"]', 'who = ["violins"]\nat = ["8va"]')
    found = reading_of(text)
    first, second = found.plan.passages
    assert first.lines[1].who == (Who("violin 1", 1), Who("violin 2", 1))
    moved = replace(first.lines[1], who=(Who("violin 1", 1), Who("violin 2", 0)))
    plan = replace(found.plan, passages=(replace(first, lines=(first.lines[0], moved)), second))
    assert bare(parse(write(plan, text))) == bare(plan)


def test_a_passage_put_in_stands_between_its_neighbours_and_leaves_their_text():
    before = write(ScoringPlan(BAND, passages=(PlannedPassage("1-8", "a"), PlannedPassage("9-16", "b"))))
    before = before.replace('bars = "9-16"', 'bars = "9-16"  # the storm')
    moved = tuple(PlannedPassage(bars, digest) for bars, digest in (("1-8", "a"), ("9-10", "n"), ("11-18", "b")))
    after = write(ScoringPlan(BAND, passages=moved), before)
    assert [one.bars for one in parse(after).passages] == ["1-8", "9-10", "11-18"]
    assert 'bars = "11-18"  # the storm' in after


# ---------------------------------------------------------------------- whose line it is


def _planned():
    line = Line("tune", (Who("flute 1"), Who("cello", -1)), why="in reach")
    return write(ScoringPlan(BAND, passages=(PlannedPassage("1-8", "aa", weight="thin", lines=(line,)),)))


@pytest.mark.parametrize(
    ("old", "new", "whose", "is_new"),
    [
        ("", "", "planner", False),
        ('"flute 1"', '"fl 1"', "planner", False),  # the same player in other words
        ('by = "planner"', 'by = "planner"\nfixed = true', "planner", False),  # kept, not changed
        ('why = "in reach"', 'why = "my aunt likes it"', "planner", False),
        ('"flute 1"', '"flute 2"', "composer", True),
        ('["unis", "8vb"]', '["8va", "8vb"]', "composer", True),
        ('by = "planner"', 'by = "planner"\nprefer = ["harps"]', "composer", True),
        ('by = "planner"', "", "composer", True),
        ('digest = "aa"', 'digest = "bb"', "composer", True),  # a line of another passage
    ],
)
def test_a_line_changed_by_hand_is_the_composers(old, new, whose, is_new):
    forces_, passage = _planned().split("[[passage]]", 1)
    assert old in passage
    found = reading_of(f"{forces_}[[passage]]{passage.replace(old, new, 1)}")
    assert found.plan.passages[0].lines[0].by == whose
    assert (("1-8", "tune") in found.new) == is_new


def test_a_composers_line_that_was_planned_with_is_no_longer_new():
    text = _planned().replace('["flute 1"', '["flute 2"')
    found = reading_of(text)
    again = reading_of(write(found.plan, text))
    assert again.plan.passages[0].lines[0].by == "composer"
    assert not again.new
    assert reading_of(write(found.plan, text, found.new)).new == found.new


def test_a_changed_weight_is_news_of_the_passage():
    assert reading_of(_planned().replace('"thin"', '"full"')).new == {("1-8", "")}


def test_a_line_given_back_to_the_planner_forgets_who_played_it():
    text = re.sub(r"who = .*", 'who = "planner"', _planned(), count=1)
    line = parse(text).passages[0].lines[0]
    assert (line.who, line.why) == ((), "")
    planned = replace(line, who=(Who("celesta"),), by="planner", why="")
    plan = parse(text)
    plan = replace(plan, passages=(replace(plan.passages[0], lines=(planned,)),))
    assert bare(parse(write(plan, text))) == bare(plan)


# ---------------------------------------------------------------------- whom a word means


@pytest.mark.parametrize(
    ("word", "chairs"),
    [
        ("ob 1", ["oboe 1"]), ("Vn II", ["violin 2"]), ("cb", ["double bass"]), ("CELLI", ["cello"]),
        ("picc", ["piccolo"]), ("c.a.", ["cor anglais"]), ("horns", ["horn 1", "horn 2", "horn 3", "horn 4"]),
        ("hn 1+3", ["horn 1", "horn 3"]), ("basses", ["double bass"]), ("celesta", ["celesta"]),
        ("tp 2", ["trumpet 2"]), ("Harp", ["harp"]), ("clarinet in A 1", ["clarinet 1"]),
        ("bassoons", ["bassoon 1", "bassoon 2"]), ("bass tbn", ["bass trombone"]), ("va", ["viola"]),
    ],
)  # fmt: skip
def test_short_names_of_the_trade(word, chairs):
    text = f'[[passage]]\nbars = "1"\n[[passage.line]]\nstrand = "tune"\nwho = ["{word}"]\n'
    assert [one.chair for one in parse(text).passages[0].lines[0].who] == chairs


@pytest.mark.parametrize("word", ["vn 1 2nd desk", "flute 2 3", "horn 9", "oboe one", "keyboard", "sax", "2 horns", ""])
def test_words_that_name_nobody_are_refused(word):
    text = f'[[passage]]\nbars = "1"\n[[passage.line]]\nstrand = "tune"\nwho = ["{word}"]\n'
    (problem,) = problems(text)
    assert problem.startswith("tide.plan.toml, line 5: ")


def test_families_stay_words_for_silence_and_wishes():
    text = '[[passage]]\nbars = "1"\n[[passage.tacet]]\nwho = ["brass", "vn 2", "horns"]\n'
    tacet = parse(text).passages[0].tacet[0]
    assert tacet.who == ("brass", "violin 2", "horns")
    room = hall.standard()
    assert [one.name for one in room.named("horns")] == ["horn 1", "horn 2", "horn 3", "horn 4"]


# ---------------------------------------------------------------------- what is refused


def test_all_problems_are_named_at_once_each_with_its_line():
    text = """strenght = 1
[default]
[[passage]]
bars = "1-8"
weight = "heavy"
[[passage.line]]
strand = "tune"
who = ["obo 1", "fl 1"]
at = ["unis"]
[[passage.line]]
strand = "tune"
who = ["fl 1", "fl 1"]
at = ["unis", "9va"]
[[passage.line]]
who = "nobody"
strand = "bass"
[[passage.tacet]]
[[passage]]
bars = "7-12"
digest = 5
"""
    found = {int(re.match(r"tide\.plan\.toml, line (\d+): ", row)[1]): row for row in problems(text)}
    assert set(found) == {1, 2, 5, 8, 9, 10, 12, 13, 15, 17, 18, 20}
    assert "did you mean 'oboe 1'" in found[8]
    assert "did you mean 'defaults'" in found[2]
    assert "at has 1 entries and who has 2" in found[9]
    assert "bars 7-12 share bars with bars 1-8 (line 3)" in found[18]
    assert "line 6" in found[10]


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ('[[passage]]\nbars = "9-16"\n[[passage]]\nbars = "1-8"\n', 3, "come before"),
        ('[[passage]]\nbars = "9-1"\n', 2, "backwards"),
        ("[[passage]]\n", 1, "bars are missing"),
        ('passage = [{ bars = "1-8" }]\n', 1, "write [[passage]] over each passage"),
        ('[[passage]]\nbars = "1"\nline = [{ strand = "tune" }]\n', 3, "[[passage.line]]"),
        ('[passage]\nbars = "1"\n', 1, "[[passage]]"),
        ('[[passage.line]]\nstrand = "tune"\n', 1, "before any passage"),
        ('[[passage]]\nbars = "1\n', 2, "not TOML"),
        ('[forces]\ntext = """\n[players.anna]\nplays = ["floot"]\n"""\n', 4, "floot"),
        ('[[passage]]\nbars = "1"\n[[passage.other]]\nlines = ["tune oboe 1"]\n', 4, "cannot be read"),
    ],
)
def test_what_is_refused_and_where(text, line, says):
    found = problems(text)
    assert found[0].startswith(f"tide.plan.toml, line {line}: ")
    assert says in found[0]


def test_numbers_that_are_printed_twice_are_left_to_the_sketch():
    text = "".join(f'[[passage]]\nbars = "{bars}"\n' for bars in ("1-16", "16 (2)-24", "1 (2)-8 (2)", "X1"))
    assert len(parse(text).passages) == 4


def test_read_names_the_file(tmp_path):
    path = tmp_path / "tide.plan.toml"
    path.write_bytes(write(ScoringPlan(orchestra="standard")).encode())
    assert read(path).orchestra == "standard"
    with pytest.raises(PlanTextError, match=r"gone\.toml: cannot be read"):
        read(tmp_path / "gone.toml")


def test_forces_survive_and_can_be_read_again():
    for text in (BAND, "'''" + BAND.replace("#", "# '''"), BAND.replace("\n", "\r\n"), hall.standard_text()):
        if text.startswith("'"):
            text = text[3:]
        kept = parse(write(ScoringPlan(text))).forces
        assert kept == text
        assert forces.parse(kept) == forces.parse(text)


# ---------------------------------------------------------------------- rows in common


@given(st.text("abc", max_size=7), st.text("abc", max_size=7))
def test_common_is_as_long_as_any_choice(one, other):
    pairs = common(one, other)
    assert all(one[i] == other[j] for i, j in pairs)
    assert pairs == sorted(pairs) and len({i for i, _ in pairs}) == len({j for _, j in pairs}) == len(pairs)
    subsets = [[k for k in range(len(one)) if mask >> k & 1] for mask in range(1 << len(one))]

    def fits(picked):
        rest = iter(other)
        return all(one[k] in rest for k in picked)

    assert len(pairs) == max(len(picked) for picked in subsets if fits(picked))


def test_the_page_on_the_form_is_true():
    page = (Path(__file__).parents[2] / "docs" / "plan-text.md").read_text(encoding="utf-8")
    example = re.search(r"```toml\n(.*?)```", page, re.DOTALL)[1]
    plan = parse(example)
    assert [one.bars for one in plan.passages] == ["1-6", "7-14"]
    assert plan.passages[0].lines[0].who == (Who("clarinet 1", 1), Who("violin 1"), Who("violin 2"))
    assert bare(parse(write(plan, example))) == bare(plan)
    for path, keys in KEYS.items():
        assert not path or f"`[{path}]`" in page or f"`[[{path}]]`" in page
        assert all(f"`{key}`" in page for key in keys)

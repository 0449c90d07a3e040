"""The browser's own sound: right pitches at the right time, never too loud; brackets thicken while their notes sound.

The player runs in a real browser. Its sound is rendered there without a loudspeaker and looked at here; where time
matters the clock of the sound is the test's own.
"""

from __future__ import annotations

import base64
import random
import shutil
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import deskproof.web
from deskproof.web import guard
from web.browser import CHROMIUM, sync_api

PLAYER = Path(deskproof.web.__file__).parent / "static" / "player.js"
HOME = "http://page.test/"
HTML = "<!doctype html><title>t</title><button>Hear</button><p></p><i id=a></i><i id=b></i><i id=c></i><i id=d></i>"
RATE_HZ = 44_100
# Equal temperament at A4 = 440 Hz, from a printed table.
TABLE_HZ = {36: 65.406, 60: 261.626, 69: 440.0, 96: 2093.005}
RINGS_S = 0.3  # a tone may ring so long after its end, and no longer
US = 1e-6

pytestmark = pytest.mark.skipif(not shutil.which(CHROMIUM), reason=f"{CHROMIUM} is not installed")


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """An empty page with the headers of the real one; nothing leaves the machine."""
    headers = {name.decode(): value.decode() for name, value in guard.HEADERS.items()}
    files = {
        HOME: ("text/html", HTML),
        f"{HOME}player.js": ("text/javascript", PLAYER.read_text("utf-8")),
        f"{HOME}unasked": ("text/html", f'{HTML}<script type=module src="/unasked.js"></script>'),
        f"{HOME}unasked.js": ("text/javascript", UNASKED),
    }

    def answer(route: Any) -> None:
        kind, body = files.get(route.request.url, ("text/plain", ""))
        route.fulfill(status=200 if body else 404, headers=headers, content_type=kind, body=body)

    context = browser.new_context()
    context.route("**/*", answer)
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(HOME)
    yield page
    context.close()
    assert wrong == []


def tone(at_s: float, for_s: float, midi: float | None, *notes: str, **other: float) -> dict[str, Any]:
    return {"at_s": at_s, "for_s": for_s, "midi": midi, "notes": list(notes), **other}


def rendered(page: Any, tones: list[dict[str, Any]], length_s: float, start_s: float = 0.0, stop_s: float = 0.0,
             **options: float) -> np.ndarray:  # fmt: skip
    """Samples of the tones, one channel; broken off at ``stop_s`` if that is not 0."""
    text = page.evaluate(
        """async ([tones, frames, rate, start, stop, options]) => {
            const { schedule } = await import("/player.js");
            const context = new OfflineAudioContext(1, frames, rate);
            const sound = schedule(context, context.destination, tones, start, options);
            if (stop) context.suspend(stop).then(() => { sound.stop(); context.resume(); });
            const bytes = new Uint8Array((await context.startRendering()).getChannelData(0).buffer);
            let text = "";
            for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
            return btoa(text);
        }""",
        [tones, round(length_s * RATE_HZ), RATE_HZ, start_s, stop_s, options],
    )
    return np.frombuffer(base64.b64decode(text), "<f4").astype(float)


def spectrum(samples: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies in Hz, a quarter of a hertz apart or closer, and the energy at each."""
    energy = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), 4 * RATE_HZ)) ** 2
    return np.fft.rfftfreq(4 * RATE_HZ, 1 / RATE_HZ), energy


def between(samples: np.ndarray, from_s: float, to_s: float) -> np.ndarray:
    return samples[round(from_s * RATE_HZ) : round(to_s * RATE_HZ)]


def loudest(samples: np.ndarray) -> float:
    return float(np.abs(samples).max())


@pytest.mark.parametrize("midi", TABLE_HZ)
def test_a_tone_has_its_energy_at_its_pitch(page, midi):
    frequencies, energy = spectrum(rendered(page, [tone(0, 1, midi)], 1.0))
    assert frequencies[energy.argmax()] == pytest.approx(TABLE_HZ[midi], rel=0.01)
    near = np.abs(frequencies / TABLE_HZ[midi] - 1) < 0.03
    assert energy[near].sum() > 0.6 * energy.sum()


def test_a_fraction_of_a_semitone_is_heard(page):
    frequencies, energy = spectrum(rendered(page, [tone(0, 1, 69.5)], 1.0))
    assert frequencies[energy.argmax()] == pytest.approx(452.893, rel=0.002)


@pytest.mark.parametrize("midi", [36, 69, 96, None])
def test_it_is_silent_before_a_tone_and_after_its_release(page, midi):
    samples = rendered(page, [tone(0.5, 0.4, midi)], 2.0, start_s=0.25)
    assert loudest(between(samples, 0, 0.75)) < 1e-6
    assert loudest(between(samples, 0.75, 0.80)) > 0.05
    assert loudest(between(samples, 1.15 + RINGS_S + 0.02, 2.0)) < 1e-4


def test_a_held_tone_is_heard_to_its_end_and_then_let_go(page):
    samples = rendered(page, [tone(0, 4, 60)], 5.0)
    first, last = (loudest(between(samples, *when)) for when in ((0, 0.1), (3.8, 4.0)))
    assert 0.2 * first < last < 0.8 * first
    assert loudest(between(samples, 4.15, 5.0)) < 0.1 * last


def test_a_tone_has_no_click_in_it(page):
    """Over all seams, at its beginning and at its end; a click goes up beyond the partials."""
    samples = rendered(page, [tone(0.1, 3.3, 36)], 4.0)
    steepest = 2 * np.pi * 65.406 * 4 * loudest(samples) / RATE_HZ  # four times a sine of that pitch
    assert np.abs(np.diff(samples)).max() < steepest
    frequencies, energy = spectrum(samples[: 4 * RATE_HZ])
    assert energy[frequencies > 1000].sum() < 1e-6 * energy.sum()


def test_a_tone_is_struck_and_not_switched_on(page):
    samples = np.abs(rendered(page, [tone(0, 0.5, 96)], 0.1))
    begin = int(np.argmax(samples > 1e-4))
    first, then = (samples[begin + round(a * RATE_HZ) : begin + round(b * RATE_HZ)].max()
                   for a, b in ((0, 0.001), (0, 0.02)))  # fmt: skip
    assert 0.01 * then < first < 0.5 * then


def test_a_held_tone_is_one_tone_over_all_seams(page):
    """The same pitch from beginning to end: what lies a whole number of periods later looks the same, but softer."""
    samples = rendered(page, [tone(0, 3, 69)], 3.0)
    period = RATE_HZ / 440
    times = np.arange(round(0.3 * RATE_HZ), round(2.9 * RATE_HZ) - 500)
    later = np.interp(times + 4 * period, np.arange(len(samples)), samples)
    off = np.abs(later - samples[times])
    assert off.max() < 0.1 * loudest(samples)


def test_a_stroke_without_pitch_is_short_and_has_none(page):
    samples = rendered(page, [tone(0, 3, None)], 1.0)
    assert loudest(between(samples, 0, 0.03)) > 0.05
    assert loudest(between(samples, 0.1, 0.2)) < 0.15 * loudest(samples)
    assert loudest(between(samples, 0.2, 1.0)) < 1e-4
    frequencies, energy = spectrum(samples)
    share = max(energy[np.abs(frequencies / hz - 1) < 0.01].sum() for hz in np.geomspace(50, 15_000, 600))
    assert share < 0.1 * energy.sum()


def test_two_strokes_sound_alike(page):
    samples = rendered(page, [tone(0, 1, None), tone(0.5, 1, None)], 1.0)
    half = len(samples) // 2
    assert np.corrcoef(samples[: half // 4], samples[half : half + half // 4])[0, 1] > 0.85  # other noise: about 0


SIXTY = {
    "in unison": [tone(0, 1, 60) for _ in range(60)],
    "over the compass": [tone(0, 1, 28 + i) for i in range(60)],
    "one after the other": [tone(i / 50, 2, 40 + i % 40) for i in range(60)],
    "strokes": [tone(0, 1, None) for _ in range(60)],
    "after one alone": [tone(0, 1, 60), *(tone(1.5, 1, 48) for _ in range(59))],
}


@pytest.mark.parametrize("kind", SIXTY)
@pytest.mark.parametrize("master", [0.1, 0.6, 1.0])
def test_sixty_tones_are_never_louder_than_the_master_gain(page, kind, master):
    samples = rendered(page, SIXTY[kind], 3.0, master=master)
    assert 0.1 * master < loudest(samples) <= master


def test_tones_in_unison_are_held_back_and_not_distorted(page):
    samples = between(rendered(page, SIXTY["in unison"], 1.0, master=1), 0.05, 1.0)
    assert np.mean(np.abs(samples) > 0.8) < 0.001


@pytest.mark.parametrize("kind", SIXTY)
def test_no_sample_passes_the_master_gain_where_the_compressor_does_nothing(page, kind):
    """Browsers differ in their compressors."""
    page.evaluate("""() => { window.DynamicsCompressorNode = class extends GainNode {
        constructor(context) { super(context, { gain: 1 }); }
    }; }""")
    assert 0.1 < loudest(rendered(page, SIXTY[kind], 3.0, master=0.6)) <= 0.6


def test_many_tones_are_not_cut_off(page):
    """41 parts in a chord: hardly a sample stands at the bound, and it is not softer than one part."""
    chord = [tone(0, 2, 36 + (7 * i) % 48) for i in range(41)]
    many, one = (between(rendered(page, tones, 2.0, master=1), 0.2, 2) for tones in (chord, [tone(0, 2, 60)]))
    assert np.mean(np.abs(many) > 0.75) < 0.001
    assert np.sqrt(np.mean(many**2)) > np.sqrt(np.mean(one**2))


def test_a_gain_makes_a_tone_softer_and_none_makes_it_silent(page):
    whole, half, none = (loudest(rendered(page, [tone(0, 0.5, 60, gain=g)], 0.5)) for g in (1, 0.25, 0))
    assert none == 0
    assert 0.1 * whole < half < 0.7 * whole


def test_what_is_broken_off_is_silent_soon(page):
    tones = [tone(0, 3, 60), tone(0, 3, None), tone(1.2, 1, 64)]
    assert loudest(between(rendered(page, tones, 3.0), 1.1, 3.0)) > 0.05
    broken = rendered(page, tones, 3.0, stop_s=1.0)
    assert loudest(between(broken, 0.9, 1.0)) > 0.02
    assert loudest(between(broken, 1.15, 3.0)) < 1e-4


def test_a_tone_that_no_ear_can_hear_is_left_out_and_a_wrong_one_refused(page):
    assert loudest(rendered(page, [tone(0, 1, 200)], 0.5)) == 0
    with pytest.raises(sync_api.Error, match="a tone needs numbers"):
        rendered(page, [{"at_s": "x", "for_s": 1, "midi": 60, "notes": []}], 0.5)


# The clock of the sound, and the timer, in the hands of the test: ``looks`` are the functions that a timer would call,
# ``sent`` are [source, when it starts, the clock when this was said, how far into it], ``ends`` when each is stopped.
FAKE = """async () => {
    const { Player } = await import("/player.js");
    Object.assign(window, { clock: 3, late: 0, looks: new Map(), sent: [], ends: new Map(), states: [] });
    class Clock extends AudioContext {
        get currentTime() { return window.clock; }
        get outputLatency() { return window.late; }
    }
    window.setInterval = (look) => { looks.set(looks.size + 1, look); return looks.size; };
    window.clearInterval = (id) => looks.delete(id);
    window.requestAnimationFrame = () => 0;
    const { start } = AudioBufferSourceNode.prototype;
    AudioBufferSourceNode.prototype.start = function (when, late) {
        sent.push([this, when, clock, late ?? 0]);
        return start.call(this, when, late);
    };
    const { stop } = AudioScheduledSourceNode.prototype;
    AudioScheduledSourceNode.prototype.stop = function (when) { ends.set(this, when); return stop.call(this, when); };
    window.player = new Player({ onState: (on) => states.push(on), newContext: () => new Clock() });
    window.play = (tones, lengthS, marks) => player.play(tones, { lengthS, brackets: Object.entries(marks ?? {}).map(
        ([id, notes]) => ({ element: document.getElementById(id), notes })) });
    window.at = (time) => {
        clock = time;
        for (const look of [...looks.values()]) look();
        return [...document.querySelectorAll(".sounding")].map((one) => one.id);
    };
}"""


@pytest.fixture
def fake(page: Any) -> Any:
    page.evaluate(FAKE)
    return page


def begins_s(page: Any, tones: list[dict[str, Any]]) -> float:
    """The time at which the first bar begins, from what was handed to the context."""
    first = page.evaluate("() => { at(clock); return Math.min(...sent.map((one) => one[1])); }")
    return first - min(one["at_s"] for one in tones)


@pytest.mark.parametrize("seed", range(8))
def test_a_bracket_is_thick_exactly_while_one_of_its_notes_sounds(fake, seed):
    chance = random.Random(seed)
    notes = [f"P{i % 3}/m{i}/n{i}" for i in range(6)]
    tones = [
        tone(chance.uniform(0, 3), chance.uniform(0.1, 1), chance.choice([50, 60.5, None]), *chance.sample(notes, 2))
        for _ in range(8)
    ]
    marks = {name: chance.sample(notes, size) for name, size in zip("abcd", (0, 1, 2, 6), strict=True)}
    fake.evaluate("([tones, marks]) => play(tones, 5, marks)", [tones, marks])
    start = begins_s(fake, tones)
    edges = [t for one in tones for t in (one["at_s"], one["at_s"] + one["for_s"])]
    times = sorted(t for edge in edges for t in (edge - 100 * US, edge + 100 * US) if t > 0)
    assert len(times) > 20
    seen = set()
    for now in times:
        sounding = {n for one in tones if one["at_s"] <= now < one["at_s"] + one["for_s"] for n in one["notes"]}
        thick = fake.evaluate("(time) => at(time)", start + now)
        assert thick == [name for name in "abcd" if sounding & set(marks[name])], now
        seen.update(thick)
    assert seen == set("bcd") - ({"b"} if not any(marks["b"][0] in one["notes"] for one in tones) else set())
    assert fake.evaluate("(time) => at(time)", start + 5.01) == []
    assert fake.evaluate("[player.playing, looks.size, states]") == [False, 0, [True, False]]


def test_a_bracket_waits_for_a_slow_way_to_the_ear(fake):
    tones = [tone(0, 1, 60, "P1/m0/n0")]
    fake.evaluate("(tones) => { late = 0.25; play(tones, 2, { a: ['P1/m0/n0'] }); }", tones)
    start = begins_s(fake, tones)
    assert [fake.evaluate("(time) => at(time)", start + t) for t in (0.2, 0.3, 1.2, 1.3)] == [[], ["a"], ["a"], []]


def test_an_element_with_two_brackets_is_thick_for_both(fake):
    tones = [tone(0, 1, 60, "P1/m0/n0"), tone(2, 1, 60, "P1/m0/n1")]
    fake.evaluate(
        """(tones) => { const element = document.getElementById("a"); player.play(tones, { lengthS: 4,
            brackets: [{ element, notes: ["P1/m0/n0"] }, { element, notes: ["P1/m0/n1"] }] }); }""",
        tones,
    )
    start = begins_s(fake, tones)
    assert [fake.evaluate("(t) => at(t)", start + t) for t in (0.5, 1.5, 2.5, 3.5)] == [["a"], [], ["a"], []]


def test_stopping_thins_all_brackets_and_silences_all_tones(fake):
    tones = [tone(0, 4, 60, "P1/m0/n0"), tone(1, 1, None, "P1/m0/n1")]
    fake.evaluate("(tones) => play(tones, 4, { a: ['P1/m0/n0'], b: ['P1/m0/n1'] })", tones)
    start = begins_s(fake, tones)
    assert fake.evaluate("(time) => at(time)", start + 1.5) == ["a", "b"]
    fake.evaluate("player.stop()")
    assert fake.evaluate("document.querySelectorAll('.sounding').length") == 0
    assert fake.evaluate("[player.playing, looks.size, states]") == [False, 0, [True, False]]
    ends = fake.evaluate("sent.map((one) => ends.get(one[0]) - clock)")
    assert len(ends) > 1
    assert None not in ends
    assert max(ends) < 0.1
    fake.evaluate("player.stop()")
    assert fake.evaluate("states") == [True, False]


def test_a_second_play_stops_the_first(fake):
    first, second = [tone(0, 4, 60, "P1/m0/n0")], [tone(0.5, 1, 64, "P2/m0/n0")]
    fake.evaluate("(tones) => play(tones, 4, { a: ['P1/m0/n0'] })", first)
    start = begins_s(fake, first)
    assert fake.evaluate("(time) => at(time)", start + 1) == ["a"]
    before = fake.evaluate("sent.length")
    fake.evaluate("(tones) => play(tones, 2, { b: ['P2/m0/n0'] })", second)
    assert fake.evaluate("document.querySelectorAll('.sounding').length") == 0
    assert fake.evaluate("[player.playing, looks.size, states]") == [True, 1, [True, False, True]]
    ends = fake.evaluate("(count) => sent.slice(0, count).map((one) => ends.get(one[0]) - clock)", before)
    assert len(ends) == before > 1
    assert None not in ends
    assert max(ends) < 0.1
    again = fake.evaluate("(count) => { at(clock); return sent[count][1]; }", before) - 0.5
    assert again > start + 1
    seen = [fake.evaluate("(time) => at(time)", again + t) for t in (0.4, 0.6, 1.4, 1.6)]
    assert seen == [[], ["b"], ["b"], []]


def test_tones_are_let_go_with_the_last_bar(fake):
    tones = [tone(0, 9, 60, "P1/m0/n0"), tone(2.5, 1, 62, "P1/m0/n1")]
    fake.evaluate("(tones) => play(tones, 2, { a: ['P1/m0/n0'], b: ['P1/m0/n1'] })", tones)
    start = begins_s(fake, tones)
    assert [fake.evaluate("(time) => at(time)", start + t) for t in (1.9, 2.1)] == [["a"], []]
    assert fake.evaluate("Math.max(...sent.map(([one, when]) => when + one.buffer.duration))") <= start + 2 + RINGS_S


def test_bars_of_rest_last_as_long_as_they_are(fake):
    fake.evaluate("play([], 2)")
    playing = [fake.evaluate("(time) => { at(time); return player.playing; }", t) for t in (3.1, 4.9, 5.3)]
    assert playing == [True, True, False]


def test_a_tone_before_the_bar_is_not_late(fake):
    tones = [tone(-0.5, 0.4, 59, "P1/m0/n0"), tone(0, 1, 60, "P1/m0/n1")]
    fake.evaluate("(tones) => play(tones, 2, { a: ['P1/m0/n0'], b: ['P1/m0/n1'] })", tones)
    start = begins_s(fake, tones)
    assert start - 0.5 > 3
    assert [fake.evaluate("(time) => at(time)", start + t) for t in (-0.3, 0.3)] == [["a"], ["b"]]


def test_a_hidden_page_that_is_called_once_a_second_plays_all_in_time(fake):
    """Nothing waits for a frame to be drawn, and each tone is handed on before its time."""
    tones = [tone(i / 10, 0.3, 40 + i % 40, f"P1/m{i}/n0") for i in range(300)]
    fake.evaluate("(tones) => play(tones, 31)", tones)
    few = fake.evaluate("sent.length")
    for second in range(35):
        fake.evaluate("(time) => at(time)", 3 + second)
    sent = fake.evaluate("sent.map(([one, when, said]) => [when, said, one.buffer.duration])")
    assert 0 < few < len(sent) / 4  # not all at once
    assert all(when > said for when, said, _ in sent)
    gaps = [later[0] - (one[0] + one[2]) for one, later in pairwise(sent)]
    assert all(-0.02 < gap <= 0 for gap in gaps)
    assert sent[-1][0] + sent[-1][2] == pytest.approx(sent[0][0] + 30.2 + 0.28, abs=0.01)
    assert fake.evaluate("player.playing") is False


# A page that asks for sound before anybody has clicked, and notes what it sees every few milliseconds: the state of the
# context while nobody has clicked, then the thick brackets and the time of the context.
UNASKED = """
import { Player } from "/player.js";
const [a, b, button] = ["#a", "#b", "button"].map((one) => document.querySelector(one));
const tones = [0, 1].map((i) => ({ at_s: 0.8 * i, for_s: 0.8, midi: 60 + i, notes: [`P1/m0/n${i}`] }));
const brackets = [a, b].map((element, i) => ({ element, notes: [`P1/m0/n${i}`] }));
Object.assign(window, { states: [], before: [], seen: [], starts: [], clicked: false });
const kind = AudioBufferSourceNode.prototype, { start } = kind;
kind.start = function (when, late) { starts.push(when); return start.call(this, when, late); };
const newContext = () => (window.context = new AudioContext());
window.player = new Player({ onState: (on) => states.push(on), newContext });
const hear = () => player.play(tones, { lengthS: 1.6, brackets });
hear();
button.addEventListener("click", () => { clicked = true; starts.length = 0; hear(); });
setInterval(() => {
    const thick = [...document.querySelectorAll(".sounding")].map((one) => one.id);
    if (clicked) seen.push([thick, context.currentTime]);
    else before.push([context.state, player.playing, thick.length]);
}, 5);
"""


def test_after_a_sleep_it_goes_on_where_it_should_be(fake):
    """The machine slept for six seconds: what should sound by now is begun in its middle, not late."""
    tones = [tone(0, 20, 60)]
    fake.evaluate("(tones) => play(tones, 20)", tones)
    start = begins_s(fake, tones)
    fake.evaluate("at(9.2)")
    sent = fake.evaluate("sent.map(([, when, said, into]) => [when, said, into])")
    nominal = [when - into for when, _, into in sent]
    assert all(later - one == pytest.approx(0.5, abs=1e-6) for one, later in pairwise(nominal))
    assert nominal[0] == pytest.approx(start, abs=1e-6)
    assert all(when >= said for when, said, _ in sent)
    assert any(into > 0 for *_, into in sent)


def test_a_click_wakes_the_sound_and_it_ends_by_itself(page):
    """In real time: what is asked for without a click waits; a click plays, and no bracket is early or left over."""
    page.goto(f"{HOME}unasked")
    page.wait_for_timeout(500)
    page.click("button")
    page.wait_for_function("() => states.length === 4", timeout=20_000)
    assert page.evaluate("states") == [True, False, True, False]
    before = page.evaluate("before")
    assert len(before) > 2
    assert all(row == ["suspended", True, 0] for row in before)
    assert page.evaluate("[player.playing, document.querySelectorAll('.sounding').length]") == [False, 0]
    begin = min(page.evaluate("starts"))
    thick = [(ids, now - begin) for ids, now in page.evaluate("seen") if ids]
    assert [ids for ids, _ in thick] == sorted(ids for ids, _ in thick)
    for name, from_s in (("a", 0.0), ("b", 0.8)):
        assert min(now for ids, now in thick if ids == [name]) >= from_s - 0.001
    page.evaluate("context.suspend()")  # as a browser does with a page that was long away
    page.click("button")
    page.wait_for_function("() => states.length === 6", timeout=20_000)

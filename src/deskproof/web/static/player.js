/**
 * Bars heard in the browser: plain tones made here, and the bracket under the sounding notes thickens.
 *
 * A tone is {at_s, for_s, midi, gain, notes}: seconds from the beginning of the first bar, how long it lasts, the MIDI
 * number (60 is middle C, fractions allowed, null for what has no pitch), a share of full loudness from 0 to 1 (1 where
 * it is left out), and the notes of the page that sound in it, ["P1/m3/n2", ...].
 *
 * The sounds: a note is one wave of six partials with a fainter one a few cents beside it, struck shortly, falling to
 * less than half, let go at its end. What has no pitch is a short burst of noise. The more tones sound at once, the
 * softer each of them; what remains too loud is held back by a compressor and at last by a curve that nothing passes.
 */

const A4_MIDI = 69;
const A4_HZ = 440;
const PARTIALS = [1, 0.4, 0.22, 0.1, 0.06, 0.03]; // the fundamental leads; the others let a small loudspeaker tell a bass
const BESIDE = 0.3; // the second wave, as a share of the first
const BESIDE_CENTS = 4;
const LOW_PASS_HZ = 7000;
const TILT = 0.2; // equal amplitudes sound shrill above and thin below: amplitude goes with frequency to this power, falling

const ATTACK_S = 0.008;
const SHORTEST_S = 0.06; // a tone of no length is heard so long
const HELD = 0.45; // what a held tone falls to, as a share of its attack
const FALL_S = 0.5; // time constant of that fall
const LET_GO_S = 0.04; // time constant of the release
/** How long a tone still rings after its end, in seconds; then it is silent. */
export const RELEASE_S = 0.28;

const NOISE_S = 0.15;
const NOISE_FALL_S = 0.025;
const NOISE_HZ = 1600;

const LEVEL = 0.35; // of one tone alone, before the compressor
/** The loudest sample that leaves the page, if no other figure is given. */
export const MASTER = 0.6;
const FADE_S = 0.01; // time constant when a playing is broken off
const FADED_S = 0.08;

const LEAD_S = 0.1; // from the click to the first tone
const AHEAD_S = 5; // tones are handed on so far ahead; a hidden page is called once a second only
const LOOK_MS = 25;

const waves = new WeakMap(); // by context: the two waves and the noise

function wavesOf(context) {
  if (!waves.has(context)) {
    const sum = PARTIALS.reduce((a, b) => a + b) * (1 + BESIDE);
    const wave = (share) => {
      const imag = Float32Array.from([0, ...PARTIALS], (one) => (one * share) / sum);
      return context.createPeriodicWave(new Float32Array(imag.length), imag, { disableNormalization: true });
    };
    const noise = context.createBuffer(1, Math.ceil(NOISE_S * context.sampleRate), context.sampleRate);
    const samples = noise.getChannelData(0);
    let seed = 1; // a generator of our own, so that a stroke always sounds the same (Numerical Recipes' constants)
    for (let i = 0; i < samples.length; i += 1) {
      seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0;
      samples[i] = seed / 2 ** 31 - 1;
    }
    waves.set(context, { own: wave(1), beside: wave(BESIDE), noise });
  }
  return waves.get(context);
}

/** The way out: low-pass, compressor, a curve bounded by 1, and the master gain. The first and last node. */
function wayOut(context, destination, master) {
  const low = new BiquadFilterNode(context, { type: "lowpass", frequency: LOW_PASS_HZ, Q: -3 });
  const held = new DynamicsCompressorNode(context, {
    threshold: -14, knee: 8, ratio: 12, attack: 0.003, release: 0.2,
  });
  const straight = 0.75; // up to here the curve leaves samples as they are
  const curve = Float32Array.from({ length: 4097 }, (_, i) => {
    const x = i / 2048 - 1;
    const over = Math.max(0, Math.abs(x) - straight) / (1 - straight);
    return Math.sign(x) * (Math.min(Math.abs(x), straight) + (1 - straight) * Math.tanh(over));
  });
  const bound = new WaveShaperNode(context, { curve });
  const out = new GainNode(context, { gain: master });
  low.connect(held).connect(bound).connect(out).connect(destination);
  return { into: low, out };
}

/** How many tones sound at once where most do. */
function mostAtOnce(rows) {
  const turns = rows.flatMap((row) => [[row.at, 1], [row.end, -1]]);
  turns.sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  let now = 0;
  let most = 1;
  for (const [, step] of turns) {
    now += step;
    most = Math.max(most, now);
  }
  return most;
}

/** Tones in order of time with their ends in seconds and their frequency; those that no ear could hear are left out. */
function rowsOf(context, tones) {
  const rows = [];
  for (const tone of tones) {
    const at = Number(tone.at_s);
    const end = at + Math.max(Number(tone.for_s), SHORTEST_S);
    const gain = Math.min(1, Math.max(0, Number(tone.gain ?? 1)));
    const pitched = tone.midi !== null && tone.midi !== undefined;
    const hz = pitched ? A4_HZ * 2 ** ((Number(tone.midi) - A4_MIDI) / 12) : null;
    if (![at, end, gain, hz ?? 0].every(Number.isFinite)) throw new TypeError("a tone needs numbers");
    if (gain > 0 && (hz ?? 0) < context.sampleRate / 2) rows.push({ at, end, gain, hz });
  }
  return rows.sort((a, b) => a.at - b.at);
}

/** Tones that are handed to a context bit by bit, and can be broken off. */
class Sound {
  #context;
  #rows;
  #startS;
  #each;
  #way;
  #next = 0;
  #live = new Set();

  constructor(context, destination, tones, startS, master) {
    this.#context = context;
    this.#rows = rowsOf(context, tones);
    this.#startS = startS;
    this.#each = LEVEL / Math.sqrt(mostAtOnce(this.#rows));
    this.#way = wayOut(context, destination, master);
  }

  /** Hand on what begins before a time of the context. */
  until(timeS) {
    while (this.#next < this.#rows.length && this.#startS + this.#rows[this.#next].at < timeS) {
      const row = this.#rows[this.#next];
      this.#next += 1;
      if (row.hz === null) this.#stroke(row);
      else this.#note(row);
    }
  }

  /** Break off with a short fade; what was not yet begun stays silent. */
  stop() {
    const now = this.#context.currentTime;
    this.#next = this.#rows.length;
    this.#way.out.gain.setTargetAtTime(0, now, FADE_S);
    for (const source of this.#live) source.stop(now + FADED_S);
    this.#leave();
  }

  #note({ at, end, gain, hz }) {
    const from = Math.max(0, this.#startS + at);
    const to = Math.max(this.#startS + end, from + ATTACK_S);
    const peak = this.#each * gain * (A4_HZ / hz) ** TILT;
    const shape = new GainNode(this.#context, { gain: 0 });
    shape.gain.setValueAtTime(0, from);
    shape.gain.linearRampToValueAtTime(peak, from + ATTACK_S);
    shape.gain.setTargetAtTime(peak * HELD, from + ATTACK_S, FALL_S);
    shape.gain.setTargetAtTime(0, to, LET_GO_S);
    const { own, beside } = wavesOf(this.#context);
    const sources = [[own, 0], [beside, BESIDE_CENTS]].map(([periodicWave, detune]) => (
      new OscillatorNode(this.#context, { periodicWave, frequency: hz, detune })
    ));
    this.#send(sources, shape, from, to + RELEASE_S);
  }

  #stroke({ at, gain }) {
    const from = Math.max(0, this.#startS + at);
    const shape = new GainNode(this.#context, { gain: 0 });
    shape.gain.setValueAtTime(2 * this.#each * gain, from); // the band leaves less than half of the noise
    shape.gain.setTargetAtTime(0, from, NOISE_FALL_S);
    const source = new AudioBufferSourceNode(this.#context, { buffer: wavesOf(this.#context).noise });
    const band = new BiquadFilterNode(this.#context, { type: "bandpass", frequency: NOISE_HZ, Q: 1 });
    shape.connect(band);
    this.#send([source], shape, from, from + NOISE_S, band);
  }

  #send(sources, shape, from, to, last = shape) {
    last.connect(this.#way.into);
    for (const source of sources) {
      source.connect(shape);
      source.start(from);
      source.stop(to);
      this.#live.add(source);
      source.onended = () => {
        source.disconnect();
        this.#live.delete(source);
        if (!sources.some((one) => this.#live.has(one))) last.disconnect();
        this.#leave();
      };
    }
  }

  /** Take down the way out when nothing more comes. */
  #leave() {
    if (this.#next >= this.#rows.length && this.#live.size === 0) this.#way.out.disconnect();
  }
}

/**
 * Hand all tones to a context at once.
 *
 * @param {BaseAudioContext} context an OfflineAudioContext will do
 * @param {AudioNode} destination where the sound goes
 * @param {Array} tones as said above, in any order
 * @param {number} startS the time of the context, in seconds, at which the first bar begins
 * @param {{master?: number}} [options] no sample is louder than `master`
 * @returns {{stop: function(): void}} breaks it off
 */
export function schedule(context, destination, tones, startS, { master = MASTER } = {}) {
  const sound = new Sound(context, destination, tones, startS, master);
  sound.until(Infinity);
  return sound;
}

/** Tones that end with the last bar: what begins later is left out, what is held longer is let go there. */
function within(tones, lengthS) {
  if (!(lengthS > 0)) return [...tones];
  return tones
    .filter((tone) => tone.at_s < lengthS)
    .map((tone) => ({ ...tone, for_s: Math.min(tone.for_s, lengthS - tone.at_s) }));
}

/** For each element the stretches [from, to) in which one of its notes sounds, in seconds. */
function stretchesOf(brackets, tones) {
  const byNote = new Map();
  for (const tone of tones) {
    const stretch = [tone.at_s, tone.at_s + Math.max(tone.for_s, SHORTEST_S)];
    for (const note of tone.notes ?? []) byNote.set(note, [...(byNote.get(note) ?? []), stretch]);
  }
  const found = new Map();
  for (const { element, notes } of brackets) {
    const own = notes.flatMap((note) => byNote.get(note) ?? []);
    found.set(element, [...(found.get(element) ?? []), ...own]);
  }
  return found;
}

/** Plays one thing at a time. */
export class Player {
  #onState;
  #master;
  #newContext;
  #context = null;
  #now = null;

  /**
   * @param {{onState?: function(boolean): void, master?: number, newContext?: function(): AudioContext}} [options]
   *   `onState(true)` is called when a playing begins and `onState(false)` when it ends, is stopped, or makes way for
   *   another: then false comes first, then true. No sample is louder than `master`.
   */
  constructor({ onState = () => {}, master = MASTER, newContext = () => new AudioContext() } = {}) {
    this.#onState = onState;
    this.#master = master;
    this.#newContext = newContext;
  }

  /** Whether something plays. */
  get playing() {
    return this.#now !== null;
  }

  /**
   * Play; what played before is stopped. To be called from a click or a key, or the browser keeps silent.
   *
   * @param {Array} tones as said above
   * @param {{lengthS?: number, brackets?: Array}} [options] the length of the bars in seconds: tones are let go there
   *   (without it the last tone is the end); brackets {element, notes}: while one of the notes sounds, the element has
   *   the class `sounding`.
   */
  play(tones, { lengthS = 0, brackets = [] } = {}) {
    this.stop();
    if (this.#context === null || this.#context.state === "closed") this.#context = this.#newContext();
    const context = this.#context;
    if (context.state !== "running") context.resume().catch(() => {}); // its clock stands until it runs
    const rows = within(tones, lengthS);
    const early = rows.reduce((most, tone) => Math.max(most, -tone.at_s), 0);
    const startS = context.currentTime + LEAD_S;
    const sound = new Sound(context, context.destination, rows, startS, this.#master);
    const lastS = rows.reduce((last, tone) => Math.max(last, tone.at_s + Math.max(tone.for_s, SHORTEST_S)), 0);
    const endS = rows.length ? Math.max(lengthS, lastS + RELEASE_S) : lengthS;
    this.#now = { sound, startS, endS, stretches: stretchesOf(brackets, rows), timer: 0 };
    this.#now.timer = setInterval(() => this.#look(), LOOK_MS);
    sound.until(context.currentTime + AHEAD_S);
    this.#onState(true);
  }

  /** Stop what plays; without anything playing nothing happens. */
  stop() {
    if (this.#now === null) return;
    const { sound, stretches, timer } = this.#now;
    this.#now = null;
    clearInterval(timer);
    sound.stop();
    for (const element of stretches.keys()) element.classList.remove("sounding");
    this.#onState(false);
  }

  /** Look at the clock of the sound: thicken the brackets of what sounds, hand on the next tones, see the end. */
  #look() {
    const { sound, startS, endS, stretches } = this.#now;
    const nowS = this.#context.currentTime - (this.#context.outputLatency || 0) - startS; // what the ear gets now
    if (nowS >= endS) {
      this.stop();
      return;
    }
    sound.until(this.#context.currentTime + AHEAD_S);
    for (const [element, own] of stretches) {
      element.classList.toggle("sounding", own.some(([from, to]) => from <= nowS && nowS < to));
    }
  }
}

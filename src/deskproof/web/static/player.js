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
 * The tones are mixed here and given to the browser in blocks: a node for each tone is too much for it in a full score.
 */

const A4_MIDI = 69;
const A4_HZ = 440;
const PARTIALS = [1, 0.4, 0.22, 0.1, 0.06, 0.03]; // the upper ones let a small loudspeaker tell a bass
const BESIDE = 0.3; // the second wave, as a share of the first
const BESIDE_CENTS = 4;
const TABLE_BITS = 13; // one period is 2 ** 13 samples; a phase is a whole number of 32 bits, once round a period
const TILT = 0.2; // amplitude falls with frequency to this power: equal ones sound shrill above and thin below

const ATTACK_S = 0.008;
const SHORTEST_S = 0.06; // a tone of no length is heard so long
const HELD = 0.45; // what a held tone falls to, as a share of its attack
const FALL_S = 0.5; // time constant of that fall
const LET_GO_S = 0.04; // time constant of the release
/** How long a tone still rings after its end, in seconds; then it is silent. */
export const RELEASE_S = 0.28;

const NOISE_S = 0.15;
const NOISE_FALL_S = 0.025; // time constant
const NOISE_HZ = 1600; // the middle of its band, which is as wide
const NOISE_GAIN = 2; // the band leaves less than half of the noise

const LEVEL = 0.35; // of one tone alone, before the compressor
const LOW_PASS_HZ = 7000;
/** The loudest sample that leaves the page, if no other figure is given. */
export const MASTER = 0.6;
const FADE_S = 0.01; // time constant when a playing is broken off
const FADED_S = 0.08;

const BLOCK_S = 0.5; // the tones are mixed in blocks of this length
const SEAM_S = 0.005; // which overlap by so much
const AHEAD_S = 2.5; // blocks are handed on so far ahead; a hidden page is called once a second only
const LEAD_S = 0.15; // from the click to the first tone
const LOOK_MS = 25;

const GRAIN = 16; // the shape of a note is a line over so many samples
const DROP = 32 - TABLE_BITS;

/** One period each, of the first partial, the first two, and so on. */
const tables = PARTIALS.map((_, last) => {
  const table = new Float32Array(2 ** TABLE_BITS);
  const sum = PARTIALS.reduce((a, b) => a + b) * (1 + BESIDE);
  PARTIALS.slice(0, last + 1).forEach((share, k) => {
    const turn = (2 * Math.PI * (k + 1)) / table.length;
    for (let i = 0; i < table.length; i += 1) table[i] += (share / sum) * Math.sin(turn * i);
  });
  return table;
});

const strokes = new Map(); // by sample rate

/** A burst of noise in a band (Audio EQ Cookbook, band-pass of constant peak gain, Q = 1); always the same samples. */
function strokeOf(rate) {
  if (!strokes.has(rate)) {
    const samples = new Float32Array(Math.ceil(NOISE_S * rate));
    const turn = (2 * Math.PI * NOISE_HZ) / rate;
    const alpha = Math.sin(turn) / 2;
    let [seed, x1, x2, y1, y2] = [1, 0, 0, 0, 0];
    for (let i = 0; i < samples.length; i += 1) {
      seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0; // the constants of Numerical Recipes
      const x = (seed / 2 ** 31 - 1) * Math.exp(-i / rate / NOISE_FALL_S);
      const y = (alpha * (x - x2) + 2 * Math.cos(turn) * y1 - (1 - alpha) * y2) / (1 + alpha);
      [x2, x1, y2, y1] = [x1, x, y1, y];
      samples[i] = NOISE_GAIN * y;
    }
    strokes.set(rate, samples);
  }
  return strokes.get(rate);
}

/** How loud a note is some seconds after its beginning, from 0 to 1; `lastsS` until it is let go. */
function shape(sinceS, lastsS) {
  if (sinceS >= lastsS + RELEASE_S) return 0;
  const after = Math.max(0, sinceS - ATTACK_S);
  const held = Math.min(1, sinceS / ATTACK_S) * (HELD + (1 - HELD) * Math.exp(-after / FALL_S));
  const overS = sinceS - lastsS;
  return overS <= 0 ? held : held * Math.exp(-overS / LET_GO_S) * (1 - overS / RELEASE_S);
}

/** Add a note to a block: `from` is its first sample, counted from the block's first. */
function addNote(block, rate, { from, to, lastsS, peak, hz }) {
  const count = Math.min(PARTIALS.length, Math.ceil(rate / 2 / hz) - 1);
  if (count < 1) return; // no ear hears it
  const table = tables[count - 1];
  const step = Math.round((hz / rate) * 2 ** 32) | 0;
  const stepBeside = Math.round((hz / rate) * 2 ** (32 + BESIDE_CENTS / 1200)) | 0;
  const begin = Math.max(0, from);
  let phase = Math.imul(step, begin - from);
  let beside = Math.imul(stepBeside, begin - from);
  const end = Math.min(block.length, to);
  for (let i = begin; i < end; i += GRAIN) {
    let now = peak * shape((i - from) / rate, lastsS);
    const rise = (peak * shape((i + GRAIN - from) / rate, lastsS) - now) / GRAIN;
    for (let j = i; j < Math.min(i + GRAIN, end); j += 1) {
      block[j] += now * (table[phase >>> DROP] + BESIDE * table[beside >>> DROP]);
      now += rise;
      phase = (phase + step) | 0;
      beside = (beside + stepBeside) | 0;
    }
  }
}

function addStroke(block, rate, { from, peak }) {
  const samples = strokeOf(rate);
  const end = Math.min(block.length, from + samples.length);
  for (let i = Math.max(0, from); i < end; i += 1) block[i] += peak * samples[i - from];
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
  const turns = rows.flatMap((row) => [[row.at, 1], [row.at + row.lastsS, -1]]);
  turns.sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  let now = 0;
  let most = 1;
  for (const [, step] of turns) {
    now += step;
    most = Math.max(most, now);
  }
  return most;
}

/** Tones in order of time, with frequency (null without pitch) and amplitude. */
function rowsOf(tones) {
  const rows = tones.map((tone) => {
    const pitched = tone.midi !== null && tone.midi !== undefined;
    const hz = pitched ? A4_HZ * 2 ** ((Number(tone.midi) - A4_MIDI) / 12) : null;
    const row = { at: Number(tone.at_s), lastsS: Math.max(Number(tone.for_s), SHORTEST_S), hz };
    row.peak = Math.min(1, Math.max(0, Number(tone.gain ?? 1))) * (pitched ? (A4_HZ / hz) ** TILT : 1);
    if (![row.at, row.lastsS, row.peak, hz ?? 0].every(Number.isFinite)) throw new TypeError("a tone needs numbers");
    return row;
  });
  const each = LEVEL / Math.sqrt(mostAtOnce(rows));
  return rows.map((row) => ({ ...row, peak: row.peak * each })).sort((a, b) => a.at - b.at);
}

/** Tones that are mixed and handed to a context block by block, and can be broken off. */
class Sound {
  #context;
  #rate;
  #rows;
  #begin; // the sample at which the first tone begins
  #length; // in samples from there to the end of the last
  #way;
  #next = 0; // the first sample not yet handed on, counted from there
  #live = new Set();

  constructor(context, destination, tones, startS, master) {
    this.#context = context;
    this.#rate = context.sampleRate;
    const rows = rowsOf(tones);
    const firstS = rows.length ? rows[0].at : 0;
    this.#begin = Math.round((startS + firstS) * this.#rate);
    this.#rows = rows.map((row) => {
      const from = Math.round((row.at - firstS) * this.#rate);
      const heardS = row.hz === null ? NOISE_S : row.lastsS + RELEASE_S;
      return { ...row, from, to: from + Math.ceil(heardS * this.#rate) };
    });
    this.#length = this.#rows.reduce((most, row) => Math.max(most, row.to), 0);
    this.#way = wayOut(context, destination, master);
  }

  /** Hand on the blocks that begin before a time of the context. */
  until(timeS) {
    while (this.#next < this.#length && (this.#begin + this.#next) / this.#rate < timeS) {
      this.#send(this.#next, Math.round(BLOCK_S * this.#rate), Math.round(SEAM_S * this.#rate));
      this.#next += Math.round(BLOCK_S * this.#rate);
    }
  }

  /** Break off with a short fade; what was not yet begun stays silent. */
  stop() {
    const now = this.#context.currentTime;
    this.#length = 0;
    this.#way.out.gain.setTargetAtTime(0, now, FADE_S);
    for (const source of this.#live) source.stop(now + FADED_S);
    this.#leave();
  }

  /** One block of so many samples and a seam, in which it goes out while the next comes in. */
  #send(from, size, seam) {
    const to = Math.min(from + size + seam, this.#length);
    const buffer = this.#context.createBuffer(1, to - from, this.#rate);
    const block = buffer.getChannelData(0);
    for (const row of this.#rows) {
      if (row.from >= to) break;
      if (row.to <= from) continue;
      const own = { ...row, from: row.from - from, to: row.to - from };
      if (row.hz === null) addStroke(block, this.#rate, own);
      else addNote(block, this.#rate, own);
    }
    for (let i = 0; from > 0 && i < Math.min(seam, block.length); i += 1) block[i] *= i / seam;
    for (let i = size; i < block.length; i += 1) block[i] *= 1 - (i - size) / seam;
    const source = new AudioBufferSourceNode(this.#context, { buffer });
    const whenS = (this.#begin + from) / this.#rate;
    const lateS = Math.max(0, this.#context.currentTime - whenS);
    source.connect(this.#way.into);
    source.start(whenS + lateS, lateS);
    this.#live.add(source);
    source.onended = () => {
      source.disconnect();
      this.#live.delete(source);
      this.#leave();
    };
  }

  /** Take down the way out when nothing more comes. */
  #leave() {
    if (this.#live.size === 0 && this.#next >= this.#length) this.#way.out.disconnect();
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
    const startS = context.currentTime + LEAD_S + early;
    const sound = new Sound(context, context.destination, rows, startS, this.#master);
    const lastS = rows.reduce((last, tone) => Math.max(last, tone.at_s + Math.max(tone.for_s, SHORTEST_S)), 0);
    const endS = rows.length ? Math.max(lengthS, lastS + RELEASE_S) : lengthS;
    const timer = setInterval(() => this.#look(), LOOK_MS);
    this.#now = { sound, startS, endS, stretches: stretchesOf(brackets, rows), timer };
    sound.until(startS + BLOCK_S / 2); // what the first moment needs; the rest comes while it sounds
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

// Bars heard from a sound file that the server made with a soundfont; the brackets thicken as with plain tones.
const LOOK_MS = 25;

/** Plays one file at a time, with the interface of Player. */
export class Sampled {
  #onState;
  #now = null;

  constructor({ onState = () => {} } = {}) {
    this.#onState = onState;
  }

  /** Play the file at an address; `tones` tell when the notes of `brackets` sound. */
  play(address, tones, { brackets = [] } = {}) {
    this.stop();
    const audio = new Audio(address);
    this.#now = { audio, brackets, timer: setInterval(() => this.#look(tones), LOOK_MS) };
    audio.addEventListener("ended", () => this.stop());
    this.#onState(true);
    return audio.play().catch((failure) => {
      this.stop();
      throw failure;
    });
  }

  stop() {
    if (this.#now === null) return;
    const { audio, brackets, timer } = this.#now;
    this.#now = null;
    clearInterval(timer);
    audio.pause();
    for (const one of brackets) one.element.classList.remove("sounding");
    this.#onState(false);
  }

  #look(tones) {
    const { audio, brackets } = this.#now;
    const now = audio.currentTime;
    const sounding = new Set(tones.filter((t) => t.at_s <= now && now < t.at_s + t.for_s).flatMap((t) => t.notes));
    for (const one of brackets) one.element.classList.toggle("sounding", one.notes.some((note) => sounding.has(note)));
  }
}

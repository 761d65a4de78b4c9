// Cues for the ear, after one touch: a tone that tells how urgent it is, then the words where the browser can speak.
const EDGE_S = 0.008;
const PAUSE_S = 0.06;

export class Sound {
  constructor() {
    this.on = false;
    this.tones = {};
  }

  // To be called from a touch: before that a browser lets nothing sound.
  async turn(on) {
    this.on = on;
    if (!on) return window.speechSynthesis?.cancel();
    this.context ??= new AudioContext();
    await this.context.resume();
    return this.cue("news", "Sound is on.");
  }

  cue(level, text) {
    if (!this.on) return;
    const length = this.play(this.tones[level] ?? []);
    setTimeout(() => this.speak(level, text), length * 1000);
  }

  // Plays [frequency in Hz, length in s] one after the other, and gives the length of all.
  play(melody) {
    let at = 0;
    for (const [frequency, length] of melody) {
      this.tone(this.context.currentTime + at, frequency, length);
      at += length + PAUSE_S;
    }
    return at;
  }

  tone(from, frequency, length) {
    const tone = this.context.createOscillator();
    const volume = this.context.createGain();
    tone.frequency.value = frequency;
    volume.gain.setValueAtTime(0, from);
    volume.gain.linearRampToValueAtTime(0.8, from + EDGE_S);
    volume.gain.setValueAtTime(0.8, from + length - EDGE_S);
    volume.gain.linearRampToValueAtTime(0, from + length);
    tone.connect(volume).connect(this.context.destination);
    tone.start(from);
    tone.stop(from + length);
  }

  speak(level, text) {
    const voice = window.speechSynthesis;
    if (!voice || !text) return;
    if (level === "alarm" || level === "do") voice.cancel();
    const words = new SpeechSynthesisUtterance(text);
    words.lang = "en";
    voice.speak(words);
  }
}

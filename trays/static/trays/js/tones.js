/* Two tones. Accepted: one short high. Refused: two short low. Never the only sign, never for a timer. */

const TONES = {
  accepted: [{ hertz: 880, from: 0, ms: 70 }],
  refused: [
    { hertz: 220, from: 0, ms: 90 },
    { hertz: 220, from: 150, ms: 90 },
  ],
};

let sound = null;

export function tone(name) {
  if (!TONES[name] || !("AudioContext" in globalThis)) return;
  sound ??= new AudioContext();
  for (const { hertz, from, ms } of TONES[name]) {
    const voice = sound.createOscillator();
    const loudness = sound.createGain();
    voice.frequency.value = hertz;
    loudness.gain.value = 0.2;
    voice.connect(loudness).connect(sound.destination);
    voice.start(sound.currentTime + from / 1000);
    voice.stop(sound.currentTime + (from + ms) / 1000);
  }
}

"""Pure music: pitches, chords, keys, leading, hands. No time, no channels, no presets."""

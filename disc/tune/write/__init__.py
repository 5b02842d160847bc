"""A tune to paper and sound: layout, MusicXML, engraved pages, MIDI, WAV."""

"""Events of Standard MIDI Files as music21's own reader gives them, and scores as
music21 writes them.

Standard input, JSON: {"read": [paths], "write": [[score, path], ...]}.
Scores are written as MIDI with their repeats played out. Standard output, JSON:
for each path to read {"notes": [[at, key, velocity]], "tempi": [[at, bpm]]}, `at`
in quarter notes from the start.
"""
import json
import sys
import warnings

from music21 import converter, midi

warnings.simplefilter("ignore")


def read(path):
    file = midi.MidiFile()
    file.open(path)
    file.read()
    file.close()
    notes, tempi = [], []
    for track in file.tracks:
        ticks = 0
        for event in track.events:
            if isinstance(event, midi.DeltaTime):
                ticks += event.time
                continue
            at = ticks / file.ticksPerQuarterNote
            if event.isNoteOn() and event.velocity > 0:
                notes.append([at, event.pitch, event.velocity])
            elif event.type == midi.MetaEvents.SET_TEMPO:
                micros = int.from_bytes(event.data, "big")
                tempi.append([at, 60e6 / micros])
    return {"notes": sorted(notes), "tempi": sorted(tempi)}


given = json.load(sys.stdin)
for score, path in given.get("write", []):
    stream = converter.parse(score, forceSource=True)
    stream = stream.toSoundingPitch().expandRepeats()
    stream.write("midi", fp=path)
json.dump([read(path) for path in given["read"]], sys.stdout)

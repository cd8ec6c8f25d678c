"""Scores as music21 reads and plays them.

Standard input, JSON: {"files": [{"path", "part"}]}, the part counted from 0.
Standard output, JSON, for each file: {"bars": [[number, at, length]],
"notes": [[at, length, pitch]]}, or {"error": text}. Times are quarter notes
from the start as played, written "3/2"; a chord is its notes, lowest first.

Repeats are played out by `expandRepeats`, ties joined by `stripTies`, pitches
made sounding by `toSoundingPitch`; grace notes and hidden ones are left out.
music21 carries of a measured tremolo only its number of strokes; one or two are
written out here as notes before the ties are joined: one stroke makes eighths of
a quarter, two make sixteenths.
"""
import copy
import fractions
import json
import sys
import warnings

from music21 import converter, duration, expressions, harmony, repeat, stream, tie

warnings.simplefilter("ignore")


def text(value):
    exact = fractions.Fraction(value).limit_denominator(50400)
    return f"{exact.numerator}/{exact.denominator}"


def one_stroke(element):
    """The value of one stroke of a measured tremolo, or None."""
    for sign in element.expressions:
        if isinstance(sign, expressions.Tremolo) and sign.numberOfMarks in (1, 2):
            name = element.duration.components[0].type
            value = min(fractions.Fraction(1), fractions.Fraction(duration.typeToDuration[name]))
            for change in element.duration.tuplets:
                value *= fractions.Fraction(change.tupletMultiplier())
            return value / 2**sign.numberOfMarks
    return None


def write_out_tremolos(part):
    notes = list(part.recurse().notes)
    for element, after in zip(notes, notes[1:] + [None]):
        value = one_stroke(element)
        count = value and fractions.Fraction(element.duration.quarterLength) / value
        if not count or count.denominator != 1:
            continue
        goes_on = element.tie and element.tie.type in ("start", "continue")
        place, at = element.activeSite, element.offset
        place.remove(element)
        for i in range(int(count)):
            stroke = copy.deepcopy(element)
            stroke.expressions = []
            stroke.duration = duration.Duration(value)
            stroke.tie = None
            if i + 1 == count and goes_on and after is not None and one_stroke(after) is None:
                stroke.tie = tie.Tie("start")
            place.insert(fractions.Fraction(at) + i * value, stroke)


def read(given):
    score = converter.parse(given["path"], forceSource=True)
    parts = list(score.parts) if isinstance(score, stream.Score) else [score]
    part = parts[given["part"]]
    if part is not parts[0]:
        # Full scores print the signs of repetition over the top stave only.
        ours = part.getElementsByClass(stream.Measure)
        for bar, top in zip(ours, parts[0].getElementsByClass(stream.Measure)):
            for sign in top.getElementsByClass(repeat.RepeatExpression):
                bar.insert(sign.offset, copy.deepcopy(sign))
    part = part.toSoundingPitch()
    part = part.expandRepeats() or part
    bars = [
        [bar.number, text(bar.offset), text(bar.duration.quarterLength)]
        for bar in part.getElementsByClass(stream.Measure)
    ]
    write_out_tremolos(part)
    part = part.stripTies()
    notes = []
    for element in part.recurse().notes:
        if element.duration.isGrace or element.style.hideObjectOnPrint:
            continue
        if isinstance(element, harmony.ChordSymbol):  # Letters over the stave.
            continue
        at = fractions.Fraction(element.getOffsetInHierarchy(part))
        length = fractions.Fraction(element.duration.quarterLength)
        notes += [(at, pitch.ps, length, pitch.nameWithOctave) for pitch in element.pitches]
    notes.sort()
    return {
        "bars": bars,
        "notes": [[text(at), text(length), name.replace("-", "b")] for at, _, length, name in notes],
    }


answers = []
for given in json.load(sys.stdin)["files"]:
    try:
        answers.append(read(given))
    except Exception as error:  # The test says which files music21 cannot read.
        answers.append({"error": f"{type(error).__name__}: {error}"})
json.dump(answers, sys.stdout)

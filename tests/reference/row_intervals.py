"""Intervals of stroke times by numpy.

Standard input, JSON: rows [[seconds, ...], ...]. Standard output, JSON, a record
a row: shares of the intervals; their mean in ms; their standard deviation about
it (divided by n) in ms and per cent; and the tempo of the first interval as a
quarter note, per minute.
"""
import json
import sys

import numpy


def record(times):
    intervals = numpy.diff(times)
    return {
        "shares": (intervals / intervals.sum()).tolist(),
        "interval_ms": float(intervals.mean() * 1000),
        "unevenness_ms": float(intervals.std(ddof=0) * 1000),
        "unevenness_pct": float(100 * intervals.std(ddof=0) / intervals.mean()),
        "bpm": float(60 / intervals[0]),
    }


json.dump([record(numpy.array(row)) for row in json.load(sys.stdin)["rows"]], sys.stdout)

"""Scores of onset lists by mir_eval.onset.f_measure.

Standard input, JSON: lists [[truth, heard], ...] in seconds, windows_s.
Standard output, JSON: for each pair of lists and each window
[f, precision, recall].
"""
import json
import sys
import warnings

import mir_eval
import numpy

warnings.simplefilter("ignore")  # It warns about empty lists.
given = json.load(sys.stdin)
json.dump(
    [
        [
            mir_eval.onset.f_measure(
                numpy.array(truth, dtype=float), numpy.array(heard, dtype=float), window=window
            )
            for window in given["windows_s"]
        ]
        for truth, heard in given["lists"]
    ],
    sys.stdout,
)

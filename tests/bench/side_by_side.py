"""The whole review of a take beside onset detection alone by general-purpose
tools, on one core.

    tests/.venv/bin/python tests/bench/side_by_side.py TAKE PART

Ours is the processor time of `kettlemark review` from its start to its end:
decoding, listening, matching, measuring, charts and page. Theirs is onset
detection alone on samples that were decoded beforehand: librosa's
`onset_detect` at its defaults (22 050 Hz), once warmed up; aubio's `hfc`
detector at the defaults of its command line tool, less what the same tool set
needs to read the same WAV file and measure its level. Each is run three times
and its fastest run counts.
"""
import os
import resource
import subprocess
import sys
import tempfile
import time

RUNS = 3


def cpu_of(command):
    """Processor seconds of a command, and its peak memory in MB."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def fastest(run):
    return min(run() for _ in range(RUNS))


def librosa_seconds(wav):
    import librosa

    samples, rate = librosa.load(wav, sr=22050)
    librosa.onset.onset_detect(y=samples[: rate * 10], sr=rate)  # compiles

    def run():
        started = time.process_time()
        librosa.onset.onset_detect(y=samples, sr=rate)
        return time.process_time() - started

    return fastest(run), len(samples) / rate


def main():
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    take, part = sys.argv[1:]
    program = os.path.join(os.path.dirname(__file__), "../../target/release/kettlemark")
    if not os.path.exists(program):
        sys.exit("target/release/kettlemark is missing: cargo build --release")
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    with tempfile.TemporaryDirectory() as folder:
        wav = os.path.join(folder, "take.wav")
        subprocess.run(
            ["ffmpeg", "-v", "error", "-i", take, "-ac", "1", "-c:a", "pcm_s16le", wav], check=True
        )
        review = [program, "review", take, "--part", part, "--no-log", "--out"]
        ours = fastest(lambda: cpu_of(review + [os.path.join(folder, "review")]))
        hfc = fastest(lambda: cpu_of(["aubioonset", "-O", "hfc", "-i", wav]))
        reading = fastest(lambda: cpu_of(["aubioquiet", "-i", wav]))
        librosa, duration = librosa_seconds(wav)
    print(f"{os.path.basename(take)}, {duration:.0f} s, one core, fastest of {RUNS} runs")
    for name, seconds in [
        ("kettlemark review, file to page", ours),
        ("librosa onset_detect alone", librosa),
        ("aubio hfc onsets alone", hfc - reading),
    ]:
        print(f"  {name:34} {seconds:6.2f} s   {duration / seconds:6.0f} x real time")


if __name__ == "__main__":
    for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"):
        os.environ[variable] = "1"
    main()

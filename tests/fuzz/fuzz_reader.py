"""Coverage-guided fuzzing of one reader, for a developer's desk: needs the extra `fuzz`.

    python tests/fuzz/fuzz_reader.py delimited --folder /tmp/fuzz -max_total_time=600

Words with one dash go to libFuzzer. A fault (an exception that is no RidelogError, a broken promise of a table or a
ride) is written down once a place in the code, with the input, and the search goes on; a hang or a fall of native code
ends it. `--replay FILE...` runs inputs without searching.
"""

from __future__ import annotations

import argparse
import hashlib
import logging
import os
import sys
import tempfile
import traceback
import warnings
from pathlib import Path

os.environ.setdefault("POLARS_MAX_THREADS", "1")

import atheris

sys.path.insert(0, str(Path(__file__).parent))
with atheris.instrument_imports(include=["ridelog", "asammdf", "cantools"]):
    import fuzz_targets
    from fuzz_targets import TARGETS


def main() -> None:
    """Search, or replay."""
    parser = argparse.ArgumentParser(description="fuzz one reader")
    parser.add_argument("target", choices=sorted(TARGETS))
    parser.add_argument("--folder", type=Path, required=True, help="keeps the corpus and the faults found")
    parser.add_argument("--replay", type=Path, nargs="*", default=[])
    known, rest = parser.parse_known_args()
    logging.disable()  # what a library says of damaged files is no fault, and fills the screen
    warnings.filterwarnings("error", module=r"ridelog\b")
    target = TARGETS[known.target]
    corpus, faults = known.folder / target.name / "corpus", known.folder / target.name / "faults"
    for folder in (corpus, faults):
        folder.mkdir(parents=True, exist_ok=True)
    for seed in target.seeds():
        (corpus / f"seed-{hashlib.sha256(seed).hexdigest()[:16]}").write_bytes(seed)
    words = known.folder / target.name / "tokens.dict"
    words.write_text("".join('"' + "".join(f"\\x{b:02x}" for b in t) + '"\n' for t in target.tokens), encoding="ascii")
    with tempfile.TemporaryDirectory() as name, fuzz_targets.in_process():
        place = Path(name)
        if known.replay:
            for path in known.replay:
                print(path, fuzz_targets.run(target, path.read_bytes(), place))
            return

        def one(data: bytes) -> None:
            try:
                fuzz_targets.run(target, data, place)
            except (KeyboardInterrupt, SystemExit):
                raise
            except BaseException as error:
                _keep(error, data, faults)

        def mutate(data: bytes, most: int, seed: int) -> bytes:
            if seed % 3 == 0:
                return atheris.Mutate(data, most)
            content, back = target.loose(data)
            changed = back(atheris.Mutate(content, most))
            return changed if len(changed) <= most else atheris.Mutate(data, most)

        options = [
            f"-dict={words}", f"-artifact_prefix={faults}/", "-rss_limit_mb=3000", "-timeout=20", "-max_len=8192",
            "-print_final_stats=1", *rest, str(corpus),
        ]  # fmt: skip
        atheris.Setup([sys.argv[0], *options], one, custom_mutator=mutate)
        atheris.Fuzz()


def _keep(error: BaseException, data: bytes, faults: Path) -> None:
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if f"{os.sep}ridelog{os.sep}" in frame.filename] or frames
    mark = f"{type(error).__name__}-{Path(own[-1].filename).stem}-{own[-1].lineno}"
    if not (faults / mark).exists():
        (faults / mark).write_bytes(data)
        text = "".join(traceback.format_exception(error))
        (faults / f"{mark}.txt").write_text(text, encoding="utf-8")
        print(f"FAULT {mark}: {error}", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()

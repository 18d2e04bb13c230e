"""Takes the pictures of README.md from a running dashboard over the sample rides: run it after the screen changed."""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from conftest import browser, running

from ridelog.cli.demo_library import build
from ridelog.store.library import Library

TARGET = Path(__file__).resolve().parents[2] / ".readme"


def main() -> None:
    """Write `.readme/ride.png` and `.readme/rides.png`."""
    TARGET.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "library"
        build(root, lambda _: None, season=False)
        rows = Library.open(root).list_rides(bike="enduro-07")
        hot = max(rows, key=lambda row: row.peak_c or 0.0)
        serving = running(root)
        address = next(serving)
        for path, until, name, height in (
            ("/", "table", "rides.png", 760),
            (f"/ride/{hot.id}", ".js-plotly-plot .main-svg", "ride.png", 1420),
        ):
            look = browser(address, 1200, height, touch=False)
            look.open(path, until)
            time.sleep(1.5)  # the figures draw themselves a moment after they are there
            look.driver.save_screenshot(str(TARGET / name))
            look.driver.quit()
        serving.close()


if __name__ == "__main__":
    main()

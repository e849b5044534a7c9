"""Makes the demo recordings and pictures again: ``python recordings_demo/make.py``.

``make pictures`` draws the pictures alone, from the recordings that are there.
Everything is invented and comes from the virtual rig. What exists is replaced, for this folder
holds nothing that cannot be made again. The report's picture needs Chromium; without it that
one stays as it is.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from acquisition.record import record_trial
from acquisition.recording.model import TrialLabel
from acquisition.recording.reader import read_recording
from acquisition.virtual_rig import default_rig
from analysis.pipeline import analyse
from analysis.target import Target
from ui.cli.arguments import rig_for
from ui.cli.main import main as perpend
from ui.cli.session_guide import check_in_words
from ui.desktop import grab_guide_pictures, grab_review_window, grab_window
from ui.live.flow import Ways
from ui.report import build_report

HERE = Path(__file__).resolve().parent
PICTURES = HERE / "pictures"
TRIALS = (
    ("expert_right.h5", "E01", "right", 3),
    ("upward_drift_right.h5", "T01", "right", 3),
    ("early_release_left_six_axes.h5", "T03", "left", 6),
)
"""File, who, side and axes of the cell; one repetition each, so that they stay small."""
EXPERTS, REPETITIONS = 4, 6
"""Behind the reference, and of each: few, for it is a picture."""


def main() -> int:
    """Make everything, or with ``--pictures`` the pictures alone, and return the exit code."""
    if "--pictures" in sys.argv[1:]:
        make_pictures()
        return 0
    for name, person, side, axes in TRIALS:
        make_recording(HERE / name, person, side, axes)
    make_pictures()
    return 0


def make_pictures() -> None:
    """Draw every picture of the documentation.

    The screens before practice are taken of a rig in real time: a figure on them may differ.
    """
    PICTURES.mkdir(exist_ok=True)
    slips = "virtual:?trainee=T01&seed=7"
    grab_window(PICTURES / "live.png", slips, seconds=14.0)
    grab_window(PICTURES / "live_laptop.png", slips, seconds=14.0, size=(1024, 768))
    grab_window(PICTURES / "trainee.png", f"{slips}&side=left", seconds=21.0, keys="T")
    grab_window(PICTURES / "too_light.png", slips, seconds=4.3, keys="T")
    grab_window(PICTURES / "after_repetition.png", f"{slips}&reps=2", seconds=31.0, plan="faded")
    guided = "virtual:?trainee=T01&seed=7&reps=0&speed=4"
    ways = Ways(ports=tuple, rig_for=rig_for, check=check_in_words)  # no port of this machine
    grab_guide_pictures(PICTURES, guided, ways, person="T07", size=(1024, 768))
    review = PICTURES / "review.png"
    grab_review_window(review, [HERE / "upward_drift_right.h5"], at_s=14.0)
    both = [HERE / "upward_drift_right.h5", HERE / "expert_right.h5"]
    grab_review_window(PICTURES / "review_two.png", both, at_s=14.0)
    make_page_pictures()


def make_recording(path: Path, person: str, side: str, axes: int, reps: int = 1) -> None:
    """Record repetitions of an invented person; what was there goes once that is done."""
    port = f"virtual:?trainee={person}&seed=7&side={side}&axes={axes}&reps={reps}&speed=max"
    with tempfile.TemporaryDirectory(dir=HERE) as folder:
        outcome = record_trial(
            port,
            Path(folder) / path.name,
            rig=default_rig(side, axes),
            target_json=Target().to_json(),
            label=TrialLabel(person=person, condition="without_feedback", note="invented"),
        )
        outcome.path.replace(path)
    path.chmod(0o644)  # recordings are their owner's alone; these are for everybody
    print(f"{path.name}  {outcome.seconds:.0f} s")


def make_page_pictures() -> None:
    """Draw the top of the report, of a comparison, and the band of a reference."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        report = folder / "report.html"
        trial = analyse(read_recording(HERE / "upward_drift_right.h5"))
        report.write_text(build_report(trial), encoding="utf-8")
        photograph(report, PICTURES / "report.png", "1100,2150")
        experts, band, page = (
            folder / "experts",
            folder / "reference.json",
            folder / "compared.html",
        )
        experts.mkdir()
        for number in range(1, EXPERTS + 1):
            make_recording(experts / f"{number}.h5", f"E{number:02}", "right", 3, REPETITIONS)
        asked = ["reference", str(experts), "--out", str(band)]
        done = perpend(asked) or perpend(
            ["compare", str(HERE / "upward_drift_right.h5"), "--reference", str(band),
             "--out", str(page)]
        )  # fmt: skip
        if done:
            raise SystemExit(done)
        shutil.copyfile(band.with_suffix(".svg"), PICTURES / "reference.svg")
        photograph(page, PICTURES / "comparison.png", "1100,1500")


def photograph(page: Path, path: Path, size: str) -> None:
    """Draw the top of a page as a browser shows it; without one the picture stays as it is."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        print(f"no Chromium: {path.name} stays as it is", file=sys.stderr)
        return
    subprocess.run(
        [
            browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
            "--no-first-run", "--disable-background-networking", "--disable-sync",
            f"--user-data-dir={page.parent}/profile", f"--window-size={size}",
            f"--screenshot={path}", page.as_uri(),
        ],
        check=True,
        capture_output=True,
    )  # fmt: skip


if __name__ == "__main__":
    sys.exit(main())

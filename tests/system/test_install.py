"""Installed as a stranger installs it: the command works outside its source, with its data files."""

import shutil
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.timeout(180)
def test_a_wheel_in_a_clean_environment_gives_a_working_command(tmp_path: Path):
    """Built from the files that git knows; the libraries are those of this environment, the program is the wheel's."""
    source = tmp_path / "source"
    known = ["git", "ls-files", "-z", "-co", "--exclude-standard"]
    listed = subprocess.run(known, cwd=ROOT, capture_output=True, check=True)
    for name in listed.stdout.decode().split("\0"):
        if name and (ROOT / name).is_file():
            (source / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, source / name)
    options = ["--quiet", "--no-deps", "--no-index", "--disable-pip-version-check"]
    pip = [sys.executable, "-m", "pip"]
    subprocess.run([*pip, "wheel", *options, "--no-build-isolation", "-w", tmp_path, source], check=True)
    (wheel,) = tmp_path.glob("lightoff-*.whl")

    home = tmp_path / "clean"
    venv.create(home, with_pip=True)
    python = home / "bin" / "python"
    subprocess.run([python, "-m", "pip", "install", *options, wheel], check=True)
    packages = subprocess.run(
        [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.strip()
    (Path(packages) / "libraries.pth").write_text(sysconfig.get_path("purelib") + "\n")

    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()

    def run(*command: str | Path) -> subprocess.CompletedProcess[str]:
        bare = {"PATH": "/usr/bin:/bin", "HOME": str(elsewhere)}
        return subprocess.run(command, cwd=elsewhere, capture_output=True, text=True, env=bare, check=False)

    where = run(python, "-c", "import collector; print(collector.__file__)")
    assert str(home) in where.stdout, "the wheel's program is the one that runs"
    demo = run(home / "bin" / "lightoff", "demo", "--for", "3", "--no-browser", "--port", "0")
    assert demo.returncode == 0, demo.stderr
    assert "page:      http://127.0.0.1:" in demo.stdout
    assert " 0 lost" in demo.stdout
    (recording,) = (elsewhere / "recordings").glob("demo-*.lightoff")
    export = run(home / "bin" / "lightoff", "export", recording, "-o", "out.csv")
    assert export.returncode == 0, export.stderr
    assert (
        (elsewhere / "out.csv").read_text().startswith("time,draft_burner_box@replay: simulated: draft meter [inH2O]")
    )

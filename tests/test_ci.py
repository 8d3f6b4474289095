"""What runs before a change goes in, on machines that lack what it needs."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
BASH = shutil.which("bash")

pytestmark = pytest.mark.skipif(BASH is None or os.name != "posix", reason="it wants bash")

# Programs that write down how they were called.  The last two are what Debian makes of them: a
# package brings its program, and who becomes root leaves the environment behind.
CALLED = 'echo "${0##*/} $*" >> "$CALLS"\n'
PROGRAMS = {
    "make": CALLED,
    "jackd": "",
    "python3": "",
    "id": 'echo "$USER_ID"\n',
    "apt-get": CALLED
    + '[ "$DEBIAN_FRONTEND $1" != "noninteractive install" ] || mv "$ARCHIVE"/* "${0%/*}"\n',
    "sudo": 'echo "sudo $1" >> "$CALLS"\nshift\n'
    'exec env -i PATH="$PATH" CALLS="$CALLS" ARCHIVE="$ARCHIVE" "$@"\n',
}
UPDATE, INSTALL = "apt-get update -qq", "apt-get install -y -qq --no-install-recommends"
BOTH = ["make test", "make check"]
ALL_THREE = f"{INSTALL} jackd2 make python3-venv"


def run(folder: Path, lacks: str, user: int) -> tuple[int, str, list[str]]:
    """Run it where some programs are not there: its status, what it says, and what it called."""
    places = {name: folder / name for name in ("bin", "archive", "checkout/.ci")}
    for place in places.values():
        place.mkdir(parents=True)
    for name in ("env", "dirname", "true", "mv"):
        (places["bin"] / name).symlink_to(str(shutil.which(name)))
    for name, does in PROGRAMS.items():
        program = places["archive" if name in lacks.split() else "bin"] / name
        program.write_text(f"#!{BASH}\n{does}", "utf-8")
        program.chmod(0o755)
    script = shutil.copy(ROOT / ".ci" / "run", places["checkout/.ci"])
    calls = folder / "calls"
    calls.touch()
    told = {"CALLS": str(calls), "ARCHIVE": str(places["archive"]), "USER_ID": str(user)}
    done = subprocess.run(
        [str(BASH), script],
        env={"PATH": str(places["bin"]), **told},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stderr, calls.read_text("utf-8").splitlines()


@pytest.mark.parametrize(
    ("lacks", "user", "called"),
    [
        ("", 0, BOTH),
        ("", 1000, BOTH),
        ("jackd make python3 sudo", 0, [UPDATE, ALL_THREE, *BOTH]),
        ("jackd make python3", 1000, ["sudo -n", "sudo -n", UPDATE, "sudo -n", ALL_THREE, *BOTH]),
        ("jackd apt-get", 0, BOTH),
        ("jackd sudo", 1000, BOTH),
    ],
    ids=["all there", "no root", "bare", "bare, no root", "no apt", "no jackd, nobody to install"],
)
def test_what_is_missing_is_installed_if_it_can_be(
    lacks: str, user: int, called: list[str], tmp_path: Path
) -> None:
    """By root, or by whoever may become root unasked; without JACK its test is skipped."""
    status, said, calls = run(tmp_path, lacks, user)

    assert (status, calls) == (0, called), said
    assert ("the JACK test is skipped" in said) == (called == BOTH and bool(lacks))


@pytest.mark.parametrize("lacks", ["make", "python3", "jackd make"])
def test_what_cannot_be_done_without_is_asked_for_by_name(lacks: str, tmp_path: Path) -> None:
    """Nothing is tried that is bound to fail; what is missing is said."""
    status, said, calls = run(tmp_path, f"{lacks} sudo", 1000)

    assert (status, calls) == (1, [])
    for package in lacks.replace("jackd", "jackd2").replace("python3", "python3-venv").split():
        assert package in said


@pytest.mark.skipif(shutil.which("make") is None, reason="make is not installed")
def test_the_venv_module_that_is_asked_for_is_that_of_the_python_in_use(tmp_path: Path) -> None:
    """Where python3 is too old, another one is taken, and Debian packs a venv module for each."""
    shutil.copy(ROOT / "Makefile", tmp_path)
    for name, does in {"python3": "exit 1\n", "python3.12": 'test "$1" = -c\n'}.items():
        (tmp_path / name).write_text(f"#!{BASH}\n{does}", "utf-8")
        (tmp_path / name).chmod(0o755)
    path = f"{tmp_path}{os.pathsep}{os.environ['PATH']}"
    done = subprocess.run(
        ["make", "-C", str(tmp_path), ".venv/made"],
        env={**os.environ, "PATH": path},
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 2
    assert "install python3.12-venv" in done.stderr

"""Set-up from a bare Python: what counts as ready, and how half-done, doubled and failing set-ups recover."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from shared import bootstrap

REPOSITORY = Path(__file__).resolve().parents[2]


@pytest.fixture
def checkout(tmp_path, monkeypatch):
    """A folder laid out like a checkout, with two pins, that the bootstrap takes for its own."""
    requirements = tmp_path / "shared" / "requirements"
    requirements.mkdir(parents=True)
    (requirements / "app.txt").write_text("one==1.0 \\\n    --hash=sha256:aa\n")
    (requirements / "dev.txt").write_text(
        "one==1.0 \\\n    --hash=sha256:aa\ntwo==2.0 \\\n    --hash=sha256:bb\n"
    )
    python = tmp_path / ".venv" / "bin" / "python"
    python.parent.mkdir(parents=True)
    python.symlink_to(sys.executable)
    for name, value in {
        "BASE": str(tmp_path),
        "VENV": str(tmp_path / ".venv"),
        "PYTHON": str(python),
        "STAMP": str(tmp_path / ".venv" / "loadstock-pins.json"),
        "UNFINISHED": str(tmp_path / ".venv" / "loadstock-unfinished"),
        "LOCK": str(tmp_path / ".local" / "setup.lock"),
    }.items():
        monkeypatch.setattr(bootstrap, name, value)
    return tmp_path


@pytest.mark.parametrize("version", [(3, 10, 14), (3, 6, 15), (3, 0, 1)])
def test_an_old_python_gets_one_sentence(version):
    program = (
        f"import sys, runpy; sys.version_info = {version}; runpy.run_path('manage.py', run_name='__main__')"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=REPOSITORY, capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    expected = f"Loadstock needs Python 3.11 or newer; this is Python {version[0]}.{version[1]}. "
    assert done.stderr.startswith(expected)
    assert len(done.stderr.splitlines()) == 1


def test_pins_are_read_with_their_extras_and_markers(tmp_path):
    file = tmp_path / "pins.txt"
    file.write_text(
        "# a comment\none==1.0 \\\n    --hash=sha256:aa\n"
        "psycopg[binary]==3.3.9 \\\n    --hash=sha256:bb\n"
        "colorama==0.4.6 ; sys_platform == 'win32' \\\n    --hash=sha256:cc\n    # via two\n"
    )
    assert list(bootstrap.read_pins(str(file))) == [
        ("one", "1.0", False),
        ("psycopg", "3.3.9", False),
        ("colorama", "0.4.6", True),
    ]


def test_the_committed_pins_all_carry_a_hash():
    for name in bootstrap.PIN_SETS:
        text = Path(bootstrap.pin_file(name)).read_text()
        blocks = text.replace("\\\n", " ").splitlines()
        pins = [line for line in blocks if "==" in line and not line.lstrip().startswith("#")]
        assert len(pins) == len(list(bootstrap.read_pins(bootstrap.pin_file(name)))) > 30
        assert all("--hash=sha256:" in line for line in pins)
        assert "://" not in text


def test_the_test_set_holds_every_pin_of_the_application_set():
    app, dev = (set(bootstrap.read_pins(bootstrap.pin_file(name))) for name in bootstrap.PIN_SETS)
    assert app < dev


def test_this_python_has_the_pins_it_runs_with(tmp_path):
    file = tmp_path / "pins.txt"
    file.write_text(f"pytest=={pytest.__version__}\nnot-for-here==9 ; sys_platform == 'win32'\n")
    assert bootstrap.has_pins(str(file))
    file.write_text("pytest==0.0.1\n")
    assert not bootstrap.has_pins(str(file))
    file.write_text("no-such-distribution==1\n")
    assert not bootstrap.has_pins(str(file))


def test_a_stamp_holds_until_the_pins_change(checkout):
    assert not bootstrap.stamp_matches("app")
    bootstrap.mark("app")
    assert bootstrap.stamp_matches("app")
    assert not bootstrap.stamp_matches("dev")
    with open(bootstrap.pin_file("app"), "a") as pins:
        pins.write("three==3.0\n")
    assert not bootstrap.stamp_matches("app")


def test_the_test_set_serves_the_application_too(checkout):
    bootstrap.mark("dev")
    assert bootstrap.stamp_matches("app")
    assert bootstrap.stamp_matches("dev")


@pytest.mark.parametrize("text", ["", "{", "[]", '"dev"', '{"set": "other", "checksum": ""}'])
def test_a_damaged_stamp_counts_as_none(checkout, text):
    Path(bootstrap.STAMP).write_text(text)
    assert not bootstrap.stamp_matches("app")


def test_a_stamp_without_its_python_counts_as_none(checkout):
    bootstrap.mark("dev")
    os.unlink(bootstrap.PYTHON)
    os.symlink("/no/such/python", bootstrap.PYTHON)
    assert not bootstrap.stamp_matches("app")


def test_the_test_tools_are_never_taken_away_again(checkout, monkeypatch):
    bootstrap.mark("dev")
    with open(bootstrap.pin_file("dev"), "a") as pins:
        pins.write("three==3.0\n")
    installed: list[str] = []
    monkeypatch.setattr(bootstrap, "install", installed.append)
    bootstrap.set_up("app")
    assert installed == ["dev"]
    assert bootstrap.stamp_matches("dev")


def test_an_installation_cut_short_leaves_no_stamp(checkout, monkeypatch):
    bootstrap.mark("app")

    def cut_short(name):
        raise KeyboardInterrupt

    monkeypatch.setattr(bootstrap, "install", cut_short)
    with pytest.raises(KeyboardInterrupt):
        bootstrap.set_up("app")
    assert bootstrap.read_stamp() == {}


def test_what_was_cut_short_is_made_anew(checkout, monkeypatch):
    Path(bootstrap.UNFINISHED).touch()
    half_a_package = Path(bootstrap.VENV) / "half"
    half_a_package.touch()
    monkeypatch.setattr(bootstrap, "make_environment", lambda: os.makedirs(os.path.dirname(bootstrap.PYTHON)))
    monkeypatch.setattr(bootstrap, "install", lambda name: os.symlink(sys.executable, bootstrap.PYTHON))
    bootstrap.set_up("app")
    assert not half_a_package.exists()
    assert bootstrap.stamp_matches("app")
    assert not Path(bootstrap.UNFINISHED).exists()


def test_a_failing_pip_is_quoted(checkout, monkeypatch):
    script = "print('Collecting one'); print('ERROR: no such hash'); raise SystemExit(1)"
    monkeypatch.setattr(bootstrap, "pip_command", lambda path: [sys.executable, "-c", script])
    with pytest.raises(bootstrap.SetupError, match=r"shared/requirements/app\.txt(.|\n)*no such hash"):
        bootstrap.install("app")


def test_progress_is_said_while_packages_come_in(checkout, monkeypatch, capsys):
    monkeypatch.setattr(bootstrap.Progress, "EVERY_S", 0.0)
    progress = bootstrap.Progress(2)
    for line in (
        "Collecting one==1.0",
        "  Using cached one",
        "Collecting two==2.0",
        "Installing collected packages: one",
    ):
        progress.see(line)
    said = [line.rsplit(maxsplit=2)[0].strip() for line in capsys.readouterr().out.splitlines()]
    assert said == [
        "packages fetched, 1 of 2",
        "packages fetched, 2 of 2",
        "packages fetched, unpacking them",
    ]


def test_a_python_that_cannot_make_environments_names_the_package(checkout, monkeypatch):
    fake = checkout / "python"
    fake.write_text("#!/bin/sh\necho 'ensurepip is not available.'; exit 1\n")
    fake.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(fake))
    os.unlink(bootstrap.PYTHON)
    with pytest.raises(bootstrap.SetupError, match="apt install python3-venv"):
        bootstrap.make_environment()
    assert not Path(bootstrap.VENV).exists()


def test_two_starts_at_once_install_once(checkout, tmp_path):
    """Two processes: the second waits for the lock, then finds the stamp and installs nothing."""
    places = {
        name: getattr(bootstrap, name) for name in ("BASE", "VENV", "PYTHON", "STAMP", "UNFINISHED", "LOCK")
    }
    program = textwrap.dedent(
        f"""
        import sys, time
        sys.path.insert(0, {str(REPOSITORY)!r})
        from shared import bootstrap
        for name, value in {json.dumps(places)}.items():
            setattr(bootstrap, name, value)
        def install(name):
            print("installing", flush=True); time.sleep(1)
        bootstrap.install = install
        bootstrap.start_again = lambda python, command: print("started", flush=True)
        bootstrap.ensure(["demo"])
        """
    )
    starts = [
        subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True) for _ in range(2)
    ]
    said = "".join(start.communicate(timeout=30)[0] for start in starts)
    assert said.count("installing") == 1
    assert said.count("started") == 2
    assert said.count("Another start is setting up") == 1


def test_the_test_command_keeps_servers_out(monkeypatch):
    monkeypatch.setenv("DATABASE_URL", "postgres://elsewhere/db")
    monkeypatch.setenv("LOADSTOCK_TEST_SERVICES", "0")
    monkeypatch.chdir(REPOSITORY)
    began = []
    monkeypatch.setattr(bootstrap, "start_again", lambda python, command: began.append((python, command)))
    bootstrap.run_tests(["-x", "tests/shared"])
    assert began == [(sys.executable, ["-m", "pytest", "-x", "tests/shared"])]
    assert "DATABASE_URL" not in os.environ


def test_the_bootstrap_needs_the_standard_library_only():
    """-S hides the site packages, -I the environment: what is left is what a fresh machine has."""
    program = (
        f"import sys; sys.path.insert(0, {str(REPOSITORY)!r}); import shared.bootstrap, shared.supervisor"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-S", "-c", program], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr

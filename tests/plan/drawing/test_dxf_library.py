"""The DXF library is loaded without its settings file and its cache, and leaves the environment as it was."""

import os
import subprocess
import sys

PROGRAM = """
import os, sys
before = dict(os.environ)
from gradehaul.plan.drawing.dxf_library import dxf_library
assert "ezdxf" not in sys.modules
ezdxf = dxf_library()
assert dict(os.environ) == before
import configparser
assert "read" not in vars(configparser.ConfigParser)
print(ezdxf.options.test_files or "-")
"""


def test_neither_settings_nor_cache(tmp_path):
    home, here = tmp_path / "home", tmp_path / "here"
    home.mkdir()
    here.mkdir()
    (here / "ezdxf.ini").write_text("[core]\ntest_files = elsewhere\n")
    environment = {
        "PATH": os.environ.get("PATH", ""),
        "HOME": str(home),
        "PYTHONPATH": os.pathsep.join(entry for entry in sys.path if entry),
    }
    command = [sys.executable, "-c", PROGRAM]
    for content in (None, b"\xff\xfe no text", b"[core\n"):
        if content is not None:
            (here / "ezdxf.ini").write_bytes(content)
        done = subprocess.run(command, cwd=here, env=environment, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stdout, done.stderr) == (0, "-\n", "")
    assert list(home.iterdir()) == []

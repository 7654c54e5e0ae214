"""The DXF library is loaded without a cache in the home folder, and leaves the environment as it was."""

import os
import subprocess
import sys

PROGRAM = """
import os, sys
before = dict(os.environ)
from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf.file import dxf_library
assert "ezdxf" not in sys.modules
try:
    dxf_library()
except DrawingError as error:
    print(error)
    assert "ezdxf" not in sys.modules
assert dict(os.environ) == before
"""


def test_no_cache_and_settings_that_cannot_be_read(tmp_path):
    home, here = tmp_path / "home", tmp_path / "here"
    home.mkdir()
    here.mkdir()
    environment = {
        "PATH": os.environ.get("PATH", ""),
        "HOME": str(home),
        "PYTHONPATH": os.pathsep.join(entry for entry in sys.path if entry),
    }
    command = [sys.executable, "-c", PROGRAM]
    refusal = "ezdxf.ini: the settings of the drawing library cannot be read; write another name for that file\n"
    for content, said in ((None, ""), (b"[core]\n", ""), (b"\xff\xfe no text", refusal), (b"[core\n", refusal)):
        if content is not None:
            (here / "ezdxf.ini").write_bytes(content)
        done = subprocess.run(command, cwd=here, env=environment, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stdout, done.stderr) == (0, said, "")
    assert list(home.iterdir()) == []

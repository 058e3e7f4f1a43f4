"""The local page of the real program, and a script that uses it once, as a person would; each test then holds one thing against
what happened. SENDWORTHY_MODULES is the folder with playwright-core and axe-core; tests/setup fills it. SENDWORTHY_PICTURES,
where set, is a folder that keeps the screenshots.
"""
import json
import os
import pathlib
import re
import subprocess
import sys

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "cli"))
import lab  # noqa: E402

MODULES = pathlib.Path(os.environ["SENDWORTHY_MODULES"])
ADDRESS = r"desk: (http://127\.0\.0\.1:\d+/[A-Za-z0-9]{32}/)\n"


def use(script, room, folder, *more, cache=False):
    """What the script printed, and the program's exit code. `more`: its further arguments; "PROCESS" becomes the program's number."""
    kept = os.environ.get("SENDWORTHY_PICTURES")
    pictures = pathlib.Path(kept) if kept else folder / "pictures"
    pictures.mkdir(parents=True, exist_ok=True)
    environment = {"PATH": "/usr/bin:/bin", "HOME": str(folder), "TMPDIR": str(folder)}
    command = [lab.PROGRAM, "desk", str(room), "--no-open", *([] if cache else ["--no-cache"])]
    program = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=environment)
    try:
        line = program.stdout.readline().decode()
        address = re.fullmatch(ADDRESS, line)
        if not address:
            raise AssertionError(f"the program printed {line!r}")
        words = [str(program.pid) if one == "PROCESS" else str(one) for one in more]
        done = subprocess.run(["node", str(HERE / script), str(MODULES), str(pictures), address[1], *words], capture_output=True, timeout=800,
                              env={**os.environ, "HOME": str(folder)})
        if done.returncode != 0:
            raise AssertionError(done.stderr.decode())
        program.terminate()  # where the script has not ended it
        return json.loads(done.stdout), program.wait(timeout=20)
    finally:
        if program.poll() is None:
            program.kill()
            program.wait()
        program.stdout.close()


class Scenes:
    """Of a test case whose `seen` is what a script printed."""

    def scene(self, name):
        about = self.seen[name]
        self.assertNotIn("failed", about, about.get("failed"))
        return about

    def test_nothing_is_asked_of_anybody_else_and_nothing_goes_wrong(self):
        self.assertEqual(self.seen["seen"], {"elsewhere": [], "messages": []})

"""Many files, spread over workers by GNU parallel, and joined again: the same verdict and the same bytes as one run.

The workers are jobs on this machine, several users without a network, and machines of their own behind ssh, in network
namespaces; what this machine does not allow is skipped with the reason.
"""
import array
import os
import pathlib
import random
import shutil
import subprocess
import time
import unittest

import lab

DATE = ["--date", "2026-01-02"]
COUNT = 600
FORMATS = ("text", "json", "jsonl", "junit", "csv", "markers", "html")

GATE = """
[[rule]]
id = "length"
measure = "duration"
warn_below = 0.25
why = "It is the subject of a test."
remedy = "None."
source = "definition"

[[waiver]]
rule = "peak"
files = "*-waived-*"
reason = "as agreed"
by = "QV"
until = 2031-12-31

[[waiver]]
rule = "peak"
files = "*-sound-0001*"
reason = "met in no file"
by = "QV"
until = 2031-12-31

[[waiver]]
rule = "length"
files = "nowhere-*"
reason = "of an earlier delivery"
by = "QV"
until = 2031-12-31
"""


def parallel():
    return shutil.which("parallel", path="/usr/bin:/bin:/usr/local/bin")


def corpus(room, count):
    """Files that differ, some hot, short, cut off, unreadable, missing; returns the names as bytes, shuffled."""
    base = array.array("h", lab.codes(lab.music(0.4, peak=0.5), 2, 16))
    names = []
    for i in range(count):
        kind = ("sound", "sound", "sound", "hot", "sound", "waived", "short", "sound", "broken", "missing", "sound", "cut",
                "mono")[i % 13]
        name = f"set-{i % 4}/{i % 7}-{kind}-{i:04}".encode() + (b" \n'\xe9.wav" if i % 50 == 7 else b".wav")
        names.append(name)
        scale = 300 + i % 601
        samples = array.array("h", (x * scale // 1000 for x in base[2 * (i % 97):]))
        channels = 2
        if kind in ("hot", "waived"):
            samples = array.array("h", (max(-32768, min(32767, 6 * x)) for x in samples))
        if kind == "short":
            samples = samples[:2 * 48 * (20 + i % 50)]
        if kind == "mono":
            samples, channels = samples[::2], 1
        data = lab.riff(1, channels, 48000, 16, samples.tobytes())
        if kind == "broken":
            data = b"RIFF" + bytes([i % 256])
        if kind == "cut":
            data = data[:len(data) // 2]
        path = os.path.join(os.fsencode(room), name)
        os.makedirs(os.path.dirname(path), exist_ok=True)
        if kind != "missing":
            with open(path, "wb") as file:
                file.write(data)
    random.Random(5).shuffle(names)
    return names


class Scale(lab.Case):
    @classmethod
    def setUpClass(cls):
        cls.made = pathlib.Path(lab.tempfile.mkdtemp(prefix="sendworthy-scale-"))
        cls.addClassCleanup(shutil.rmtree, cls.made, ignore_errors=True)
        cls.made.chmod(0o755)
        # Where every worker can reach it, whoever it runs as and wherever the build lies.
        cls.program = cls.made / "bin" / "sendworthy"
        cls.program.parent.mkdir()
        shutil.copy2(lab.PROGRAM, cls.program)
        rules = cls.made / "gate.toml"
        rules.write_text(lab.RULE_SET.format(name="gate", limits="fail_above = -1.0") + GATE)
        cls.command = [str(cls.program), "check", *DATE, "--no-progress", "--rules", "common", "--rules", str(rules)]
        cls.many = cls.made / "many"
        cls.count = COUNT
        cls.names = corpus(cls.many, cls.count)
        cls.one = cls.run_in(cls.many, cls.names, "--format", "jsonl")
        assert cls.one[0] == 3, cls.one[2]  # some are missing, and nothing is wrong with the call
        (cls.made / "list").write_bytes(b"".join(name + b"\0" for name in cls.names))
        (cls.made / "one.jsonl").write_bytes(cls.one[1])

    @classmethod
    def clean(cls):
        env = {"PATH": "/usr/bin:/bin", "HOME": str(cls.made), "SHELL": "/bin/sh"}
        env.update({name: os.environ[name] for name in lab.KEPT if name in os.environ})
        return env

    @classmethod
    def run_in(cls, room, names, *more):
        room.mkdir(exist_ok=True)
        done = subprocess.run([*cls.command, *more, "--files-from", "-"], input=b"".join(name + b"\0" for name in names), capture_output=True,
                              cwd=room, env=cls.clean(), timeout=4 * lab.TIMEOUT_S)
        return done.returncode, done.stdout, done.stderr

    def merge(self, *arguments, stdin=b""):
        done = subprocess.run([self.program, "merge", *map(str, arguments)], input=stdin, capture_output=True, cwd=self.room,
                              env=self.clean(), timeout=lab.TIMEOUT_S)
        return done.returncode, done.stdout, done.stderr

    def spread(self, *options, command=None):
        """What parallel's workers wrote, and its standard error. Into files: a worker that outlives its job would hold a pipe."""
        with open(self.made / "list", "rb") as names, open(self.room / "out", "w+b") as out, open(self.room / "err", "w+b") as err:
            subprocess.run([parallel(), *options, *(command or self.quoted("--files-from", "-"))], stdin=names, stdout=out, stderr=err,
                           cwd=self.many, env=self.clean(), timeout=2 * lab.TIMEOUT_S)
            out.seek(0)
            err.seek(0)
            return out.read(), err.read()

    def quoted(self, *more):
        """For the shell that parallel puts between: no word here holds what a shell would take apart."""
        return [" ".join([*self.command, "--format", "jsonl", "--fail-on", "never", "--jobs", "1", *more])]

    def is_the_one_run(self, sheet, formats=("text", "junit")):
        """Merged, held against the list, it is the one run: formats, note, verdict, code and complaint."""
        (self.room / "spread.jsonl").write_bytes(sheet)
        merged = self.merge("spread.jsonl", "--files-from", self.made / "list", "--format", "jsonl")
        self.assertEqual(merged[1], self.one[1])
        self.assertEqual((merged[0], sorted(merged[2].splitlines())), (self.one[0], sorted(self.one[2].splitlines())))
        for form in formats:
            self.assertEqual(self.merge("spread.jsonl", "--files-from", self.made / "list", "--format", form, "--note", "a.md"),
                             self.merge(self.made / "one.jsonl", "--format", form, "--note", "b.md"), form)
            self.assertEqual((self.room / "a.md").read_bytes(), (self.room / "b.md").read_bytes())


@unittest.skipIf(parallel() is None, "GNU parallel is not installed")
class Workers(Scale):
    def test_jobs_fed_by_pipe(self):
        took = {}
        for jobs in ("1", "2", "3"):
            start = time.monotonic()
            sheet, _ = self.spread("--pipe", "--recend", "\\0", "-N", "23", "--jobs", jobs)
            took[jobs] = time.monotonic() - start
            self.assertEqual(sheet.count(b"\n"), self.count)
            self.is_the_one_run(sheet, FORMATS if jobs == "2" else ())
        print(f"{self.count} files: one worker {took['1']:.1f} s, two {took['2']:.1f} s, three {took['3']:.1f} s")

    def test_names_as_arguments(self):
        sheet, _ = self.spread("--null", "-X", "-n", "31", "--jobs", "2", command=self.quoted("--", "{}"))
        self.is_the_one_run(sheet)

    def log_in(self, wrapper, logins):
        options = ["--pipe", "--recend", "\\0", "-N", "19", "--ssh", str(wrapper), "--wd", str(self.many)]
        for login in logins:
            options += ["-S", f"2/{login}"]
        return self.spread(*options)

    def test_several_users_without_a_network(self):
        if os.geteuid() != 0 or subprocess.run(["unshare", "--net", "true"], capture_output=True).returncode:
            self.skipTest("taking another user's part in a network of its own needs root and unshare")
        wrapper = self.made / "login"
        for user in ("one", "two"):
            (self.made / f"home-{user}").mkdir(exist_ok=True)
        # In a remote shell's place: HOST [--] COMMAND, run as another user, at home, with nothing of this environment.
        wrapper.write_text(f"""#!/bin/sh
host=$1
shift
[ "$1" != -- ] || shift
case $host in one) user=61001 ;; two) user=61002 ;; *) exit 255 ;; esac
echo "$host" >>{self.made}/calls
exec unshare --net -- setpriv --reuid "$user" --regid "$user" --clear-groups -- \\
  env -i SHELL=/bin/sh PATH=/usr/bin:/bin HOME={self.made}/home-"$host" sh -c "cd && $*"
""")
        wrapper.chmod(0o755)
        sheet, _ = self.log_in(wrapper, ("one", "two"))
        self.assertEqual(set((self.made / "calls").read_text().split()), {"one", "two"})
        self.is_the_one_run(sheet)
        # A login that fails: its part is missing, and the list says so.
        sheet, error = self.log_in(wrapper, ("one", "gone"))
        code, _, said = self.merge("-", "--files-from", self.made / "list", "--quiet", stdin=sheet)
        self.assertEqual(code, 3)
        self.assertIn(b"the list names it", said)

    def test_machines_behind_ssh(self):
        network = Network(self.made)
        self.addCleanup(network.end)
        reason = network.begin()
        if reason:
            self.skipTest(reason)
        sheet, error = self.log_in(network.shell, network.logins)
        self.assertEqual(sheet.count(b"\n"), self.count, error[-2000:])
        self.assertEqual(network.who_answered(), {"one", "two"})
        self.is_the_one_run(sheet)


class Network:
    """Two machines, as far as one kernel has them: network namespaces, each with an ssh server, a user and a key of its own."""

    TOOLS = ("dropbear", "dropbearkey", "ssh", "ssh-keygen", "ip")
    PORT = "2222"

    def __init__(self, folder):
        self.folder = folder / "network"
        self.shell = self.folder / "shell"
        self.users = ("one", "two")
        self.logins, self.spaces, self.servers = [], [], []

    def run(self, *command):
        return subprocess.run([str(word) for word in command], stdin=subprocess.DEVNULL, capture_output=True, check=True, timeout=30)

    def begin(self):
        """Why not, or nothing."""
        missing = [tool for tool in self.TOOLS if not shutil.which(tool, path="/usr/sbin:/usr/bin:/sbin:/bin")]
        if missing:
            return f"not installed: {', '.join(missing)}"
        if os.geteuid() != 0:
            return "machines in network namespaces need root"
        self.folder.mkdir(mode=0o755)
        self.shell.write_text(f"""#!/bin/sh
exec timeout 300 ssh -F none -p {self.PORT} -i {self.folder}/key -o BatchMode=yes -o StrictHostKeyChecking=no \\
  -o UserKnownHostsFile=/dev/null -o LogLevel=ERROR "$@" 2>>{self.folder}/said
""")
        self.shell.chmod(0o700)
        try:
            self.run("ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", self.folder / "key")
            for i, user in enumerate(self.users):
                self.machine(i, user)
        except subprocess.CalledProcessError as error:
            return f"no machine to be had: {' '.join(error.cmd)}: {error.stderr.decode(errors='replace').strip()}"
        for _ in range(50):
            if all(subprocess.run([self.shell, login, "true"], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, timeout=30).returncode == 0
                   for login in self.logins):
                return None
            time.sleep(0.1)
        return "the ssh servers in the namespaces do not answer: " + (self.folder / "said").read_text()[-500:]

    def machine(self, i, user):
        space, link = f"sw{os.getpid()}-{user}", f"sw{os.getpid()}-{i}"
        net = f"10.{200 + os.getpid() % 50}.{os.getpid() // 50 % 250}."
        here, there = f"{net}{4 * i + 1}", f"{net}{4 * i + 2}"
        self.run("ip", "netns", "add", space)
        self.spaces.append(space)
        self.run("ip", "link", "add", link, "type", "veth", "peer", "name", "eth0", "netns", space)
        self.run("ip", "addr", "add", f"{here}/30", "dev", link)
        self.run("ip", "link", "set", link, "up")
        self.run("ip", "-n", space, "addr", "add", f"{there}/30", "dev", "eth0")
        self.run("ip", "-n", space, "link", "set", "eth0", "up")
        keys = self.folder / f"home-{user}" / ".ssh"
        keys.mkdir(parents=True, mode=0o700)
        shutil.copy(self.folder / "key.pub", keys / "authorized_keys")
        number = 61001 + i
        for path in (keys.parent, keys, keys / "authorized_keys"):
            os.chown(path, number, number)
            path.chmod(0o600 if path.is_file() else 0o700)
        # The user is known in there alone: what "ip netns exec" runs has mounts of its own.
        (self.folder / f"passwd-{user}").write_text(pathlib.Path("/etc/passwd").read_text() +
                                                    f"{user}:x:{number}:{number}::{keys.parent}:/bin/sh\n")
        server = (f"mount --bind {self.folder}/passwd-{user} /etc/passwd && "
                  f"exec dropbear -F -E -s -R -p {there}:{self.PORT} -r {self.folder}/host-{user} -P {self.folder}/pid-{user}")
        self.run("dropbearkey", "-t", "ed25519", "-f", self.folder / f"host-{user}")
        with open(self.folder / f"log-{user}", "wb") as log:
            self.servers.append(subprocess.Popen(["timeout", "300", "ip", "netns", "exec", space, "sh", "-c", server], stdin=subprocess.DEVNULL,
                                                 stdout=subprocess.DEVNULL, stderr=log))
        self.logins.append(f"{user}@{there}")

    def who_answered(self):
        # The first login asks whether the server is up; those beyond it are work.
        return {user for user in self.users if (self.folder / f"log-{user}").read_text().count("auth succeeded") > 1}

    def end(self):
        for server in self.servers:
            server.terminate()
            server.wait(timeout=30)
        for space in self.spaces:
            subprocess.run(["ip", "netns", "del", space], capture_output=True)


class Parts(Scale):
    """What comes back from workers, in any order, whole or not."""

    def setUp(self):
        super().setUp()
        lines = self.one[1].splitlines(keepends=True)
        random.Random(3).shuffle(lines)
        size = -(-len(lines) // 5)
        self.parts = [b"".join(lines[i:i + size]) for i in range(0, len(lines), size)]
        for i, part in enumerate(self.parts):
            (self.room / f"{i}.jsonl").write_bytes(part)
        self.sheets = [f"{i}.jsonl" for i in range(len(self.parts))]
        self.list = ["--files-from", self.made / "list"]

    def merged(self, *sheets, form="jsonl", more=()):
        return self.merge(*sheets, "--format", form, *more)[:2]

    def test_any_order_in_stages_and_twice(self):
        whole = (self.one[0], self.one[1])
        self.assertEqual(whole[0], 3)
        rng = random.Random(11)
        for _ in range(3):
            rng.shuffle(self.sheets)
            self.assertEqual(self.merged(*self.sheets, more=self.list), whole)
        for i, some in enumerate((self.sheets[:2], self.sheets[2:3], self.sheets[3:])):
            (self.room / f"stage-{i}.jsonl").write_bytes(self.merged(*some)[1])
        self.assertEqual(self.merged("stage-2.jsonl", "stage-0.jsonl", "stage-1.jsonl", more=self.list), whole)
        self.assertEqual(self.merged(*self.sheets, *self.sheets[:3], "stage-0.jsonl", more=self.list), whole)
        self.assertEqual(self.merge("-", "--format", "jsonl", stdin=b"".join(self.parts[::-1]))[:2], whole)

    def test_every_format_is_that_of_the_run_itself(self):
        names = self.names[:39]
        lines = {}
        for part in (names[:10], names[10:11], names[11:]):
            lines[len(lines)] = self.run_in(self.many, part, "--format", "jsonl", "--jobs", "1")[1]
        for i in lines:
            (self.room / f"p{i}.jsonl").write_bytes(lines[i])
        for form in FORMATS:
            if form == "html":  # a sheet carries no sound to draw
                continue
            one = self.run_in(self.many, names, "--format", form, "--note", str(self.room / "one.md"))
            merged = self.merge("p2.jsonl", "p0.jsonl", "p1.jsonl", "--format", form, "--note", self.room / "merged.md")
            self.assertEqual(merged[:2], one[:2], form)
            self.assertEqual((self.room / "merged.md").read_bytes(), (self.room / "one.md").read_bytes())

    def test_warnings_of_single_runs_are_those_of_one(self):
        # One waiver was met by files of some workers only, one by none: one run says the second alone, and so does a merge.
        sound = [name for name in self.names if b"-sound-" in name or b"-waived-" in name]
        whole = self.run_in(self.many, sound, "--format", "text")
        self.assertIn(b"nowhere-*", whole[1])
        for i, part in enumerate((sound[::2], sound[1::2])):
            (self.room / f"w{i}.jsonl").write_bytes(self.run_in(self.many, part, "--format", "jsonl")[1])
        self.assertEqual(self.merge("w1.jsonl", "w0.jsonl")[:2], whole[:2])

    def refused(self, *names, said):
        code, out, err = self.merge(*self.sheets, *names, "--format", "jsonl", *self.list)
        self.assertEqual((code, out), (3, b""), err[-500:])
        self.assertIn(said, err)

    def test_a_part_that_is_not_whole_stops_everything_and_is_named(self):
        part = self.parts[1]
        for cut in (part[:-1000], part[:len(part) // 2], part[:10], b""):
            (self.room / "cut.jsonl").write_bytes(cut)
            self.refused("cut.jsonl", said=b"cut.jsonl")
        # Zeros are what a full or a torn disk leaves.
        (self.room / "cut.jsonl").write_bytes(part[:len(part) // 2] + b"\0" * 4096)
        self.refused("cut.jsonl", said=b"cut.jsonl")
        self.refused("never-came.jsonl", said=b"never-came.jsonl")

    def test_what_no_worker_brought_is_missed(self):
        lost = [line for line in self.parts[2].splitlines(keepends=True)]
        kept = lost[:-3]  # cut off at a line end: nothing in the sheet itself shows it
        (self.room / "2.jsonl").write_bytes(b"".join(kept))
        self.assertNotIn(b"the list names it", self.merge(*self.sheets, "--quiet")[2])
        code, out, err = self.merge(*self.sheets, "--format", "jsonl", "--fail-on", "never", *self.list)
        self.assertEqual(code, 3)
        self.assertEqual(err.count(b"the list names it"), 3)
        self.assertEqual(out.count(b"\n"), self.count)


if __name__ == "__main__":
    lab.main()

"""A folder watched: each file once, when it is whole, whatever happens to the folder."""
import contextlib
import json
import os
import pathlib
import shutil
import signal
import subprocess
import sys
import threading
import time
import unittest

import lab

QUEUE = pathlib.Path("/proc/sys/fs/inotify/max_queued_events")
WATCHES = pathlib.Path("/proc/sys/fs/inotify/max_user_watches")
SHORT = lab.wav(0.2, rate=8000, bits=16, channels=1)
LOUD = lab.riff(1, 1, 8000, 16, lab.codes([(0.99 if n // 20 % 2 else -0.99,) for n in range(1600)], 1, 16))


@contextlib.contextmanager
def limit(path, value):
    """A limit of the system for as long as the block runs; skips the test where that is not allowed.

    It holds for everybody on the machine, so a block does no more than start the program."""
    before = path.read_text()
    try:
        path.write_text(str(value))
    except OSError as error:
        raise unittest.SkipTest(f"{path} cannot be written: {error}")
    try:
        yield
    finally:
        path.write_text(before)


class Running:
    """The program watching, and what it has said so far."""

    def __init__(self, case, *arguments, wait=True, binary=False):
        self.process = subprocess.Popen([lab.PROGRAM, "watch", *arguments], cwd=case.room, env=case.environment(),
                                        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        self.out, self.err = [], []
        self.threads = [threading.Thread(target=self.read, args=(stream, lines), daemon=True)
                        for stream, lines in ((self.process.stdout, self.out), (self.process.stderr, self.err))]
        for thread in self.threads:
            thread.start()
        case.addCleanup(self.end)
        if wait:
            self.wait_for(lambda: any(b"watching " in line for line in self.err))

    def read(self, stream, lines):
        for line in stream:
            lines.append(line)

    def wait_for(self, done, seconds=60):
        end = time.monotonic() + seconds
        while not done():
            if time.monotonic() > end or (self.process.poll() is not None and not done()):
                raise AssertionError(f"ended or waited in vain; out: {self.out[-5:]} err: {self.err[-5:]}")
            time.sleep(0.02)

    def wait_lines(self, count):
        self.wait_for(lambda: len(self.out) >= count)

    def wait_said(self, text):
        self.wait_for(lambda: any(text in line for line in self.err))

    def end(self):
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
        self.code()
        self.process.stdout.close()
        self.process.stderr.close()

    def code(self):
        code = self.process.wait(lab.TIMEOUT_S)
        for thread in self.threads:
            thread.join(10)
        return code


class Case(lab.Case):
    def setUp(self):
        super().setUp()
        self.rules = self.put_rules("quiet", "fail_above = -1.0")
        self.dir = self.room / "in"
        self.dir.mkdir()

    def watch(self, *arguments, settle="0.4", **more):
        return Running(self, "in", "--rules", self.rules, "--settle", settle, *arguments, **more)

    def names(self, running):
        """The path of each line, in the order they came."""
        return [line.decode().split("  ", 1)[1].split(": ")[0].rstrip("\n") for line in running.out]

    def quiet_time(self, seconds=1.2):
        time.sleep(seconds)


class Files(Case):
    def test_a_line_a_file_with_verdict_findings_and_time(self):
        running = self.watch()
        (self.dir / "good.wav").write_bytes(SHORT)
        running.wait_lines(1)
        (self.dir / "bad.wav").write_bytes(LOUD)
        running.wait_lines(2)
        (self.dir / "notes.txt").write_bytes(b"no sound")
        (self.dir / "broken.wav").write_bytes(b"no sound either")
        running.wait_lines(3)
        self.assertRegex(running.out[0], rb"^PASS  in/good\.wav: 1 pass \(\d+\.\d s\)\n$")
        self.assertRegex(running.out[1], rb"^FAIL  in/bad\.wav: 1 fail: Sample peak: -?\d\.\d+ dBFS, at most -1\.00 dBFS \(\d+\.\d s\)\n$")
        self.assertRegex(running.out[2], rb"^NO SHEET  in/broken\.wav: .+\n$")
        self.assertEqual(running.err, [b'sendworthy: watching "in"\n'])

    def test_what_was_there_is_left_until_it_changes(self):
        (self.dir / "old.wav").write_bytes(SHORT)
        running = self.watch()
        self.assertIn(b"1 audio file that is there already", running.err[0])
        (self.dir / "new.wav").write_bytes(SHORT)
        running.wait_lines(1)
        self.quiet_time()
        self.assertEqual(self.names(running), ["in/new.wav"])
        (self.dir / "old.wav").write_bytes(LOUD)
        running.wait_lines(2)
        self.assertEqual(self.names(running), ["in/new.wav", "in/old.wav"])

    def test_existing_ones_first_when_asked_for(self):
        (self.dir / "old.wav").write_bytes(SHORT)
        running = self.watch("--existing", "--until-idle", "1", wait=False)
        self.assertEqual(running.code(), 0)
        self.assertEqual(self.names(running), ["in/old.wav"])

    def test_a_slow_writer_is_waited_for(self):
        for how in ([], ["--no-events"]):
            with self.subTest(how=how):
                running = self.watch("--settle", "0.8", "--rescan", "0.3", *how)
                name = f"slow{len(how)}.wav"
                with open(self.dir / name, "wb") as file:
                    for at in range(0, len(SHORT), len(SHORT) // 8):
                        file.write(SHORT[at:at + len(SHORT) // 8])
                        file.flush()
                        time.sleep(0.3)
                        self.assertEqual(running.out, [])
                running.wait_lines(1)
                self.quiet_time()
                self.assertEqual([b"PASS"], [line[:4] for line in running.out])
                running.end()

    def test_a_writer_that_pauses_longer_than_it_rests_is_waited_for_while_it_has_the_file_open(self):
        running = self.watch()
        with open(self.dir / "pause.wav", "wb") as file:
            file.write(SHORT[:1000])
            file.flush()
            self.quiet_time(2)
            self.assertEqual(running.out, [])
            file.write(SHORT[1000:])
        running.wait_lines(1)
        self.assertTrue(running.out[0].startswith(b"PASS"), running.out)

    def test_temporary_names_and_renames(self):
        running = self.watch()
        (self.dir / "mix.wav.part").write_bytes(SHORT)
        self.quiet_time()
        self.assertEqual(running.out, [])
        os.rename(self.dir / "mix.wav.part", self.dir / "mix.wav")
        running.wait_lines(1)
        (self.dir / "tmp.wav").write_bytes(SHORT)
        os.rename(self.dir / "tmp.wav", self.dir / "final.wav")
        running.wait_lines(2)
        self.quiet_time()
        self.assertEqual(self.names(running), ["in/mix.wav", "in/final.wav"])

    def test_nothing_twice(self):
        running = self.watch("--rescan", "0.3")
        path = self.dir / "a.wav"
        path.write_bytes(SHORT)
        running.wait_lines(1)
        os.utime(path)
        running.wait_said(b"holds the bytes that were checked before")
        os.chmod(path, 0o600)
        os.rename(path, self.dir / "a.bak")
        self.quiet_time()
        os.rename(self.dir / "a.bak", path)
        self.quiet_time(2)
        self.assertEqual(self.names(running), ["in/a.wav"])
        # Another name is another file; other bytes of the same length are, too.
        os.rename(path, self.dir / "b.wav")
        running.wait_lines(2)
        other = bytearray(SHORT)
        other[-1] ^= 1
        (self.dir / "b.wav").write_bytes(other)
        running.wait_lines(3)
        self.assertEqual(self.names(running), ["in/a.wav", "in/b.wav", "in/b.wav"])

    def test_a_new_file_renamed_over_an_old_one(self):
        running = self.watch()
        (self.dir / "a.wav").write_bytes(SHORT)
        running.wait_lines(1)
        (self.room / "outside.wav").write_bytes(LOUD)
        os.rename(self.room / "outside.wav", self.dir / "a.wav")
        running.wait_lines(2)
        self.assertEqual([line[:4] for line in running.out], [b"PASS", b"FAIL"])

    def test_deleted_before_it_rested(self):
        running = self.watch("--until-idle", "1.5", settle="1")
        (self.dir / "a.wav").write_bytes(SHORT)
        time.sleep(0.3)
        os.remove(self.dir / "a.wav")
        self.assertEqual(running.code(), 3)
        self.assertEqual(running.out, [])
        self.assertIn(b"nothing was checked", running.err[-1])

    def test_hostile_names(self):
        names = [b"new\nline.wav", b"esc\x1b[31m.wav", b"\xff\xfe.wav", "düne.wav".encode(), b"-r.wav", b"a  b.wav", b"$(touch x).wav"]
        running = self.watch("--until-idle", "2", settle="0.3")
        for name in names:
            with open(os.path.join(os.fsencode(self.dir), name), "wb") as file:
                file.write(SHORT)
        self.assertEqual(running.code(), 0)
        self.assertEqual(len(running.out), len(names))
        shown = b"".join(running.out)
        for line in running.out:
            self.assertTrue(line.startswith(b"PASS  in/"), line)
        self.assertNotIn(b"\x1b", shown)
        self.assertIn(rb"in/new\nline.wav", shown)
        self.assertIn(b"in/a  b.wav:", shown)

    def test_jsonl_is_what_check_writes(self):
        running = self.watch("-f", "jsonl", "--until-idle", "1")
        (self.dir / "a.wav").write_bytes(SHORT)
        (self.dir / "b.wav").write_bytes(b"none")
        self.assertEqual(running.code(), 3)
        for line in running.out:
            path = json.loads(line)["file"]["path"]
            _, wanted, _ = self.run_program("check", path, "--rules", self.rules, "-f", "jsonl", "--color", "never")
            self.assertEqual(line, wanted)

    def test_unreadable_until_it_is_not(self):
        if os.geteuid() == 0:
            self.skipTest("root reads everything")
        running = self.watch()
        path = self.dir / "a.wav"
        path.write_bytes(SHORT)
        path.chmod(0)
        running.wait_lines(1)
        self.assertIn(b"permission denied", running.out[0])
        path.chmod(0o600)
        running.wait_lines(2)
        self.assertTrue(running.out[1].startswith(b"PASS"))

    def test_links_are_not_followed_and_said(self):
        (self.room / "outside.wav").write_bytes(SHORT)
        (self.room / "far").mkdir()
        (self.room / "far" / "c.wav").write_bytes(SHORT)
        running = self.watch("--recursive", "--until-idle", "1.5", "--rescan", "0.3")
        os.symlink(self.room / "outside.wav", self.dir / "link.wav")
        os.symlink(self.room / "far", self.dir / "far")
        os.symlink(self.dir, self.dir / "loop")
        os.mkfifo(self.dir / "pipe.wav")
        (self.dir / "a.wav").write_bytes(SHORT)
        self.assertEqual(running.code(), 3)
        self.assertEqual(self.names(running), ["in/a.wav"])
        self.assertEqual(sum(b"is a link and is not followed" in line for line in running.err), 1)
        self.assertEqual([line for line in running.err if b"pipe.wav" in line],
                         [b'sendworthy: "in/pipe.wav" is named like audio and is a pipe, a socket or a device, so it is not looked at; put a file there\n'])


class Folders(Case):
    def test_folders_that_come_later_with_what_is_in_them(self):
        running = self.watch("--recursive", "--rescan", "100")
        # The first file follows its folder faster than anybody can begin to watch that.
        for i in range(20):
            os.makedirs(self.dir / f"album{i}" / "cd1")
            (self.dir / f"album{i}" / "cd1" / "a.wav").write_bytes(SHORT)
        ready = self.room / "ready"
        (ready / "deep").mkdir(parents=True)
        (ready / "deep" / "b.wav").write_bytes(SHORT)
        os.rename(ready, self.dir / "ready")
        running.wait_lines(21)
        os.rename(self.dir / "ready", self.dir / "again")
        running.wait_lines(22)
        (self.dir / "again" / "deep" / "c.wav").write_bytes(SHORT)
        running.wait_lines(23)
        self.quiet_time()
        wanted = [f"in/album{i}/cd1/a.wav" for i in range(20)] + ["in/ready/deep/b.wav", "in/again/deep/b.wav", "in/again/deep/c.wav"]
        self.assertEqual(sorted(self.names(running)), sorted(wanted))

    def test_without_recursive_folders_are_left_alone(self):
        running = self.watch("--until-idle", "1.2")
        (self.dir / "sub").mkdir()
        (self.dir / "sub" / "a.wav").write_bytes(SHORT)
        (self.dir / "b.wav").write_bytes(SHORT)
        self.assertEqual(running.code(), 0)
        self.assertEqual(self.names(running), ["in/b.wav"])

    def test_the_folder_goes_and_comes_back(self):
        running = self.watch("--rescan", "0.3")
        (self.dir / "a.wav").write_bytes(SHORT)
        running.wait_lines(1)
        os.rename(self.dir, self.room / "away")
        running.wait_said(b"waiting for it to come back")
        (self.room / "away" / "b.wav").write_bytes(SHORT)
        self.quiet_time()
        os.rename(self.room / "away", self.dir)
        running.wait_said(b"is back")
        running.wait_lines(2)
        shutil.rmtree(self.dir)
        running.wait_for(lambda: sum(b"waiting for it" in line for line in running.err) == 2)
        self.dir.mkdir()
        (self.dir / "c.wav").write_bytes(SHORT)
        running.wait_lines(3)
        self.assertEqual(self.names(running), ["in/a.wav", "in/b.wav", "in/c.wav"])

    def test_gone_at_the_end_is_3_and_missing_at_the_start_too(self):
        running = self.watch("--until-idle", "1", "--rescan", "0.3")
        (self.dir / "a.wav").write_bytes(SHORT)
        running.wait_lines(1)
        shutil.rmtree(self.dir)
        self.assertEqual(running.code(), 3)
        code, out, err = self.run_program("watch", "in")
        self.assertEqual((code, out), (3, b""))
        self.assertIn(b"there is no such folder", err)
        self.put("file.wav", SHORT)
        self.assertEqual(self.run_program("watch", "file.wav")[0], 3)

    def test_a_share_is_unmounted_and_mounted_again(self):
        def mount(*words):
            return subprocess.run(words, capture_output=True).returncode == 0
        if not mount("mount", "-t", "tmpfs", "none", self.dir):
            self.skipTest("nothing can be mounted here")
        self.addCleanup(subprocess.run, ["umount", "-l", self.dir], capture_output=True)
        running = self.watch("--rescan", "0.3")
        (self.dir / "a.wav").write_bytes(SHORT)
        running.wait_lines(1)
        self.assertTrue(mount("umount", self.dir))
        running.wait_said(b"is another folder than before")
        (self.dir / "under.wav").write_bytes(SHORT)
        running.wait_lines(2)
        self.assertTrue(mount("mount", "-t", "tmpfs", "none", self.dir))
        (self.dir / "b.wav").write_bytes(SHORT)
        running.wait_lines(3)
        self.assertEqual(self.names(running), ["in/a.wav", "in/under.wav", "in/b.wav"])


class Floods(Case):
    def flood(self, count, *how):
        running = self.watch("--until-idle", "3", *how)
        for i in range(count):
            (self.dir / f"{i:04}.wav").write_bytes(SHORT)
        self.assertEqual(running.code(), 0)
        self.assertEqual(sorted(self.names(running)), [f"in/{i:04}.wav" for i in range(count)])
        return running

    def test_each_of_many_once(self):
        self.flood(400, "--jobs", "4")

    def test_each_of_many_once_without_events(self):
        self.flood(200, "--no-events", "--rescan", "0.3")

    def test_more_events_than_the_system_keeps(self):
        with limit(QUEUE, 8):
            running = self.watch("--rescan", "1000", "--until-idle", "3")
        # While it stands still nothing is taken from the queue.
        running.process.send_signal(signal.SIGSTOP)
        for i in range(100):
            (self.dir / f"{i:04}.wav").write_bytes(SHORT)
        running.process.send_signal(signal.SIGCONT)
        self.assertEqual(running.code(), 0)
        self.assertEqual(sorted(self.names(running)), [f"in/{i:04}.wav" for i in range(100)])

    def test_no_watches_left_is_said_and_the_folder_looked_through(self):
        with limit(WATCHES, 0):
            running = self.watch("--rescan", "0.3", "--until-idle", "2")
        (self.dir / "a.wav").write_bytes(SHORT)
        self.assertEqual(running.code(), 0)
        self.assertEqual(self.names(running), ["in/a.wav"])
        self.assertEqual(sum(b"max_user_watches" in line for line in running.err), 1)


class OnFail(Case):
    def test_it_runs_for_what_fails_and_nothing_in_a_name_is_run(self):
        names = [b"$(touch pwned).wav", b"`touch pwned`.wav", b"; touch pwned #.wav", b"a'b\"c.wav", b"new\nline.wav", b"\xff.wav", b"-n.wav"]
        running = self.watch("--until-idle", "2", "--on-fail",
                             'test ! -t 0 && cat >/dev/null; printf "%s\\0%s\\0%s\\0%s\\0" "$1" "$SENDWORTHY_FILE" '
                             '"$SENDWORTHY_VERDICT" "$SENDWORTHY_REASON" >> seen; echo told; echo told >&2')
        for name in names:
            with open(os.path.join(os.fsencode(self.dir), name), "wb") as file:
                file.write(LOUD)
        (self.dir / "good.wav").write_bytes(SHORT)
        self.assertEqual(running.code(), 1)
        self.assertFalse((self.room / "pwned").exists() or (self.dir / "pwned").exists())
        fields = (self.room / "seen").read_bytes().split(b"\0")[:-1]
        rows = [fields[i:i + 4] for i in range(0, len(fields), 4)]
        self.assertEqual(sorted(row[0] for row in rows), sorted(b"in/" + name for name in names))
        for row in rows:
            self.assertEqual(row[0], row[1])
            self.assertEqual(row[2], b"fail")
            self.assertIn(b"Sample peak", row[3])
        self.assertEqual(len(running.out), len(names) + 1)  # what it prints is no sheet
        self.assertEqual(sum(line == b"told\n" for line in running.err), 2 * len(names))

    def test_a_warning_runs_it_only_under_fail_on_warn(self):
        self.rules = self.put_rules("warns", "warn_above = -1.0")
        for more, code in (([], 0), (["--fail-on", "warn"], 1), (["--fail-on", "never"], 0)):
            running = self.watch("--until-idle", "1", "--on-fail", 'echo "$SENDWORTHY_VERDICT" >> seen', *more)
            (self.dir / f"{len(more)}{code}.wav").write_bytes(LOUD)
            self.assertEqual(running.code(), code)
        self.assertEqual((self.room / "seen").read_text(), "warn\n")

    def test_one_that_fails_or_hangs_is_said_and_stops_nothing(self):
        running = self.watch("--until-idle", "1.5", "--on-fail-limit", "1", "--on-fail",
                             'case $1 in *hang*) sleep 300 & wait;; *) exit 7;; esac')
        (self.dir / "hang.wav").write_bytes(LOUD)
        running.wait_lines(1)
        (self.dir / "other.wav").write_bytes(LOUD)
        running.wait_lines(2)
        self.assertEqual(running.code(), 3)
        said = b"".join(running.err)
        self.assertIn(b'the command for "in/hang.wav" was not done after 1 s and was ended with all that had stayed in its process group', said)
        self.assertIn(b'the command for "in/other.wav" ended with exit code 7', said)

    def test_no_zombies(self):
        running = self.watch("--on-fail", "true")
        for i in range(5):
            (self.dir / f"{i}.wav").write_bytes(LOUD)
        running.wait_lines(5)
        self.quiet_time()
        states = subprocess.run(["ps", "-o", "stat=", "--ppid", str(running.process.pid)], capture_output=True, text=True).stdout
        self.assertEqual(states.split(), [])


class Ends(Case):
    def test_a_signal(self):
        for number in (signal.SIGINT, signal.SIGTERM):
            running = self.watch("--on-fail", "sleep 300")
            (self.dir / f"{number}.wav").write_bytes(LOUD)
            running.wait_lines(1)
            time.sleep(0.3)
            start = time.monotonic()
            running.process.send_signal(number)
            self.assertEqual(running.code(), 130)
            self.assertLess(time.monotonic() - start, 2.5)

    def test_a_signal_during_a_long_check(self):
        self.put("long.wav", lab.long_wav(600))
        for i in range(20):
            os.link(self.room / "long.wav", self.dir / f"{i}.wav")
        running = self.watch("--existing", "--rules", "premaster", "--jobs", "1", wait=False)
        running.wait_lines(1)
        start = time.monotonic()
        running.process.send_signal(signal.SIGINT)
        self.assertEqual(running.code(), 130)
        self.assertLess(time.monotonic() - start, 2.5)

    def test_nobody_reads_any_more(self):
        running = subprocess.Popen([lab.PROGRAM, "watch", "in", "--rules", self.rules, "--settle", "0.3"], cwd=self.room,
                                   env=self.environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        running.stderr.readline()
        running.stdout.close()
        (self.dir / "a.wav").write_bytes(SHORT)
        self.assertEqual(running.wait(30), 3)
        said = running.stderr.read()
        self.assertIn(b"nobody reads standard output any more, so the watch has ended", said)
        self.assertEqual(said.count(b"\n"), 1)
        running.stderr.close()

    def test_nothing_came_is_no_pass(self):
        (self.dir / "old.wav").write_bytes(SHORT)
        code, out, err = self.run_program("watch", "in", "--until-idle", "0.5")
        self.assertEqual((code, out), (3, b""))
        self.assertIn(b'no audio file came to "in"; nothing was checked', err)
        self.assertEqual(self.run_program("watch", "in", "--until-idle", "0.5", "--fail-on", "never")[0], 3)

    def test_quiet_and_colour(self):
        running = self.watch("--quiet", "--existing", "--until-idle", "1", "--color", "always", wait=False)
        (self.dir / "a.wav").write_bytes(LOUD)
        self.assertEqual(running.code(), 1)
        self.assertEqual(running.out, [b"\x1b[1;7mFAIL\x1b[0m  in/a.wav\n"])
        self.assertEqual(running.err, [])

    def test_wrong_calls(self):
        for words, text in (([], "one folder is wanted; 0 given"), (["in", "in"], "one folder is wanted; 2 given"),
                            (["in", "--settle", "0"], "--settle wants seconds from 0.1 to 3600"),
                            (["in", "--settle", "nan"], "--settle wants seconds"), (["in", "--rescan", "x"], "--rescan wants seconds"),
                            (["in", "--until-idle", "-1"], "--until-idle wants seconds"), (["in", "--on-fail", ""], "--on-fail wants a command"),
                            (["in", "--format", "json"], "--format wants text or jsonl"), (["in", "--rules", "nope"], "nope"),
                            (["in", "--fail-on", "x"], "--fail-on wants"), (["in", "--date", "x"], "--date wants")):
            code, out, err = self.run_program("watch", *words)
            self.assertEqual((code, out), (2, b""), words)
            self.assertIn(text, err.decode())


if __name__ == "__main__":
    if not sys.platform.startswith("linux"):
        sys.exit(0)
    lab.main()

"""Ctrl-C and its relatives: exit 130, soon, and no half file."""
import os
import signal
import subprocess
import time

import lab


class Interrupt(lab.Case):
    def setUp(self):
        super().setUp()
        self.put("0.wav", lab.long_wav(600))
        # Many names of the same bytes: more work than can be done before the signal, without the room for it.
        for i in range(1, 60):
            os.link(self.room / "0.wav", self.room / f"{i}.wav")
        self.rules = self.put_rules("loud", "fail_above = -1.0")

    def start(self, *more, **streams):
        streams.setdefault("stdout", subprocess.PIPE)
        streams.setdefault("stderr", subprocess.PIPE)
        return subprocess.Popen([lab.PROGRAM, "check", "--rules", self.rules, *more], cwd=self.room,
                                env=self.environment(), stdin=subprocess.DEVNULL, **streams)

    def ended(self, process, number):
        """(exit code, stdout, stderr, seconds from the signal to the end)."""
        lab.until_it_catches(process, number)
        time.sleep(0.4)
        self.assertIsNone(process.poll(), "over before it could be interrupted")
        start = time.monotonic()
        process.send_signal(number)
        out, err = process.communicate(timeout=lab.TIMEOUT_S)
        return process.returncode, out, err, time.monotonic() - start

    def test_a_signal_ends_a_long_check_soon_and_without_a_sheet(self):
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            for jobs in ("1", "2"):
                with self.subTest(signal=number, jobs=jobs):
                    process = self.start(".", "-f", "json", "-o", "out.json", "--note", "note.md", "--jobs", jobs)
                    code, out, err, seconds = self.ended(process, number)
                    self.assertEqual((code, out), (130, b""))
                    self.assertEqual(err, b"sendworthy: interrupted; no sheet was written\n")
                    self.assertLess(seconds, 2.5)
                    self.assertFalse((self.room / "out.json").exists() or (self.room / "note.md").exists())
                    self.assertEqual(self.leftovers(), [])

    def test_an_old_sheet_stays_as_it_was(self):
        self.put("out.json", b"old")
        self.assertEqual(self.ended(self.start(".", "-f", "json", "-o", "out.json"), signal.SIGINT)[0], 130)
        self.assertEqual((self.room / "out.json").read_bytes(), b"old")

    def test_digest_too(self):
        self.assertEqual(self.ended(self.start(".", "--digest", "--second-meter"), signal.SIGINT)[0], 130)

    def test_while_waiting_for_a_list(self):
        process = subprocess.Popen([lab.PROGRAM, "check", "--files-from", "-"], cwd=self.room, env=self.environment(),
                                   stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        lab.until_it_catches(process, signal.SIGINT)
        time.sleep(0.3)
        process.send_signal(signal.SIGINT)
        process.wait(timeout=lab.TIMEOUT_S)
        process.communicate()
        self.assertEqual(process.returncode, 130)

    def test_while_writing_into_a_pipe_nobody_reads(self):
        # The first signal asks, the second does not.
        reader, writer = os.pipe()
        import fcntl
        flags = fcntl.fcntl(writer, fcntl.F_GETFL)
        fcntl.fcntl(writer, fcntl.F_SETFL, flags | os.O_NONBLOCK)
        try:
            while True:
                os.write(writer, b"x" * 4096)
        except BlockingIOError:
            pass
        fcntl.fcntl(writer, fcntl.F_SETFL, flags)
        self.put("short.dat", lab.wav(0.5, rate=8000))
        process = self.start("short.dat", stdout=writer)
        time.sleep(0.5)
        self.assertIsNone(process.poll())
        process.send_signal(signal.SIGINT)
        time.sleep(0.1)
        process.send_signal(signal.SIGINT)
        start = time.monotonic()
        process.wait(timeout=lab.TIMEOUT_S)
        process.communicate()
        os.close(reader)
        os.close(writer)
        self.assertEqual(process.returncode, 130)
        self.assertLess(time.monotonic() - start, 1.0)

    def test_self_test(self):
        process = subprocess.Popen([lab.PROGRAM, "selftest", "--jobs", "1"], cwd=self.room, env=self.environment(),
                                   stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        time.sleep(0.2)
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=lab.TIMEOUT_S)
        self.assertEqual(process.returncode, 130)

    def test_the_progress_line_is_erased(self):
        def interrupt(process):
            time.sleep(0.4)
            process.send_signal(signal.SIGINT)
        code, printed, _, _ = lab.on_terminal(["check", "--rules", self.rules, "."], self.environment(TERM="xterm"), self.room,
                                              send=interrupt)
        self.assertEqual(code, 130)
        self.assertRegex(printed, rb"\r\x1b\[Ksendworthy: interrupted; no sheet was written\r\n$")


if __name__ == "__main__":
    lab.main()

"""The local page's server, as a page and as somebody hostile would ask it."""
import http.client
import json
import os
import pathlib
import signal
import socket
import subprocess
import time
import urllib.parse

import lab

SHORT = lab.wav(0.5, rate=8000, bits=16, channels=1)
USUAL = {"content-security-policy", "x-content-type-options", "referrer-policy", "cross-origin-resource-policy",
         "cross-origin-opener-policy", "cache-control"}


class Desk:
    """The program serving, from its first line to its end."""

    def __init__(self, case, *arguments, env=None):
        self.temporary = case.folder / "tmp"
        self.temporary.mkdir(exist_ok=True)
        self.process = subprocess.Popen([lab.PROGRAM, "desk", "--no-open", *arguments], cwd=case.room, stdin=subprocess.DEVNULL,
                                        env=case.environment(TMPDIR=str(self.temporary), **(env or {})), stdout=subprocess.PIPE,
                                        stderr=subprocess.PIPE)
        case.addCleanup(self.end)
        line = self.process.stdout.readline().decode()
        case.assertRegex(line, r"^desk: http://127\.0\.0\.1:\d+/[0-9A-Za-z]{32}/\n$")
        self.address = line.split()[1]
        self.host = self.address.split("/")[2]
        self.port = int(self.host.split(":")[1])
        self.root = "/" + self.address.split("/")[3] + "/"

    def ask(self, method, path, body=None, root=None, **headers):
        """(status, headers with lower-case names, body)."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            connection.request(method, (self.root if root is None else root) + path, body, {k.replace("_", "-"): v for k, v in headers.items()})
            answer = connection.getresponse()
            return answer.status, {name.lower(): value for name, value in answer.getheaders()}, answer.read()
        finally:
            connection.close()

    def json(self, method, path, body=None):
        status, _, text = self.ask(method, path, None if body is None else json.dumps(body))
        return status, json.loads(text)

    def raw(self, head, wait_s=30):
        """Everything that comes back for these bytes."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=wait_s) as connection:
            connection.sendall(head)
            got = b""
            try:
                while piece := connection.recv(65536):
                    got += piece
            except ConnectionResetError:
                pass
            return got

    def finished(self, check, seconds=60):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            status, told = self.json("GET", f"api/checks/{check}")
            if status != 200 or told["state"] not in ("waiting", "running"):
                return told
            time.sleep(0.02)
        raise AssertionError("the check does not end")

    def check(self, *files, rules=("premaster",)):
        status, told = self.json("POST", "api/checks", {"files": list(files), "rules": list(rules)})
        assert status == 200, told
        return told["check"]

    def scratch(self):
        return sorted(p for p in self.temporary.rglob("*") if p.is_file() and p.name != "lock")

    def end(self):
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(20)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        for stream in (self.process.stdout, self.process.stderr):
            stream.close()


class Call(lab.Case):
    def test_a_wrong_call_says_what_is_wrong(self):
        for arguments, code, said in ((["a", "b"], 2, b"one folder is wanted; 2 given"), (["--port", "80"], 2, b"--port wants a whole number from 1024 to 65535"),
                                      (["gone"], 3, b"there is no such folder"), ([""], 2, b"a folder's name is empty"), (["--date", "soon"], 2, b"--date wants a day")):
            got, out, err = self.run_program("desk", "--no-open", *arguments)
            self.assertEqual((got, out), (code, b""), (arguments, err))
            self.assertIn(said, err)
        self.put("file.wav", SHORT)
        got, out, err = self.run_program("desk", "--no-open", "file.wav")
        self.assertEqual((got, out), (3, b""))
        self.assertIn(b"it is no folder", err)

    def test_a_port_that_somebody_has_is_said(self):
        desk = Desk(self)
        got, out, err = self.run_program("desk", "--no-open", "--port", str(desk.port))
        self.assertEqual((got, out), (3, b""))
        self.assertIn(b"another program may have it", err)

    def test_an_address_that_nobody_can_read_is_the_end(self):
        with open("/dev/full", "wb") as full:
            done = subprocess.run([lab.PROGRAM, "desk", "--no-open"], cwd=self.room, env=self.environment(), stdin=subprocess.DEVNULL, stdout=full,
                                  stderr=subprocess.PIPE, timeout=lab.TIMEOUT_S)
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"No space left", done.stderr)

    def test_a_default_rule_set_that_does_not_load_is_said_at_the_start(self):
        self.config.mkdir(parents=True)
        (self.config / "config.toml").write_text('[defaults]\nrules = ["gone"]\n')
        got, out, err = self.run_program("desk", "--no-open")
        self.assertEqual((got, out), (2, b""))
        self.assertIn(b"gone", err)


class Guarded(lab.Case):
    def setUp(self):
        super().setUp()
        self.put("mix.wav", SHORT)
        self.desk = Desk(self)

    def head(self, method="GET", path="", host=None, more=""):
        return f"{method} {self.desk.root}{path} HTTP/1.1\r\nHost: {host or self.desk.host}\r\n{more}\r\n".encode("latin-1")

    def status(self, head):
        answer = self.desk.raw(head)
        self.assertTrue(answer.startswith(b"HTTP/1.1 "), (head, answer[:100]))
        return int(answer.split()[1])

    def test_nothing_listens_but_on_loopback(self):
        listening = []
        for name, loopback in (("tcp", "0100007F"), ("tcp6", None)):
            for line in pathlib.Path(f"/proc/{self.desk.process.pid}/net/{name}").read_text().splitlines()[1:]:
                fields = line.split()
                address, port = fields[1].split(":")
                if fields[3] == "0A" and int(port, 16) == self.desk.port:
                    listening.append((name, address == loopback))
        self.assertEqual(listening, [("tcp", True)])
        mine = {os.readlink(link) for link in pathlib.Path(f"/proc/{self.desk.process.pid}/fd").iterdir() if os.path.islink(link)}
        self.assertEqual(sum(target.startswith("socket:") for target in mine), 1)

    def test_two_starts_have_two_tokens(self):
        self.assertNotEqual(Desk(self).root, self.desk.root)

    def test_without_the_token_there_is_nothing(self):
        for root in ("/", "", "//", "/favicon.ico", "/" + "A" * 32 + "/", self.desk.root.lower() if self.desk.root != self.desk.root.lower() else "/x/",
                     self.desk.root[:-2] + "/", self.desk.root[:-1]):
            for method in ("GET", "POST", "DELETE", "OPTIONS", "HEAD", "PUT"):
                answer = self.desk.raw(f"{method} {root or '*'} HTTP/1.1\r\nHost: {self.desk.host}\r\nContent-Length: 0\r\n\r\n".encode())
                self.assertEqual(answer.split()[1], b"404" if root else answer.split()[1], (method, root))
                self.assertEqual(answer.split(b"\r\n\r\n", 1)[1], b"", (method, root))

    def test_other_hosts_origins_and_sites_are_refused_for_every_method(self):
        for method in ("GET", "POST", "DELETE"):
            length = "Content-Length: 0\r\n"
            for host in ("evil.example", f"evil.example:{self.desk.port}", "127.0.0.1", f"127.0.0.1:{self.desk.port + 1}", f"[::1]:{self.desk.port}"):
                self.assertEqual(self.status(self.head(method, "api/state", host, length)), 403, host)
            for more in ("Origin: http://evil.example\r\n", "Origin: null\r\n", f"Origin: https://{self.desk.host}\r\n", "Sec-Fetch-Site: cross-site\r\n",
                         "Sec-Fetch-Site: same-site\r\n", f"Origin: http://{self.desk.host}\r\nOrigin: http://evil.example\r\n"):
                self.assertEqual(self.status(self.head(method, "api/state", None, length + more)), 403, more)
        self.assertEqual(self.status(self.head("GET", "api/state", None, f"Origin: http://{self.desk.host}\r\nSec-Fetch-Site: same-origin\r\n")), 200)
        self.assertEqual(self.status(self.head("GET", "api/state", f"localhost:{self.desk.port}")), 200)
        self.assertEqual(self.status(f"GET {self.desk.root} HTTP/1.1\r\n\r\n".encode()), 403)
        self.assertEqual(self.status(f"GET {self.desk.root} HTTP/1.1\r\nHost: {self.desk.host}\r\nHost: evil.example\r\n\r\n".encode()), 403)

    def test_every_answer_carries_the_headers_that_keep_the_page_apart(self):
        check = self.desk.check({"path": "mix.wav"})
        self.desk.finished(check)
        for method, path in (("GET", ""), ("GET", "api/state"), ("GET", "nothing"), ("GET", "api/folder?path=.."), ("PUT", ""), ("GET", f"api/checks/{check}/sheet.html")):
            _, headers, _ = self.desk.ask(method, path)
            self.assertLessEqual(USUAL, set(headers), (method, path))
            self.assertEqual(headers["x-content-type-options"], "nosniff")
            self.assertEqual(headers["referrer-policy"], "no-referrer")
            self.assertEqual(headers["cache-control"], "no-store")
            self.assertNotIn("access-control-allow-origin", headers)
            policy = headers["content-security-policy"]
            self.assertIn("default-src 'none'", policy)
            self.assertNotIn("unsafe", policy)
            self.assertNotIn(",", policy)  # two headers come joined by a comma
            self.assertIn("frame-ancestors 'self'" if "sheet.html" in path else "frame-ancestors 'none'", policy)
        _, headers, page = self.desk.ask("GET", f"api/checks/{check}/sheet.html")
        for digest in ("style-src '", "script-src '"):
            own = headers["content-security-policy"].split(digest)[1].split("'")[0]
            self.assertIn(own.encode(), page)  # the sheet's own policy names the same

    def test_no_path_leads_out(self):
        self.put("../outside.wav", SHORT)
        os.symlink("../outside.wav", self.room / "link.wav")
        os.symlink("..", self.room / "up")
        for path, status in (("..", 400), ("../room", 400), ("sub/../..", 400), ("/etc", 400), (".", 400), ("a//b", 400), ("a/", 400), ("a\\b", 400), ("..\\..", 400),
                             ("up", 403), ("up/home", 403), ("gone", 404), ("mix.wav", 403), ("link.wav", 403)):
            for spelt in (urllib.parse.quote(path, safe=""), "".join(f"%{byte:02X}" for byte in path.encode())):
                got, told = self.desk.json("GET", f"api/folder?path={spelt}")
                self.assertEqual(got, status, path)
                self.assertEqual(set(told), {"error"})
                self.assertEqual(set(told["error"]), {"code", "text"})
            if path not in ("gone", "mix.wav"):
                got, _ = self.desk.json("POST", "api/checks", {"files": [{"path": path}]})
                self.assertEqual(got, status if path not in ("up/home",) else 403, path)
        self.assertEqual(self.desk.json("GET", "api/folder?path=%252e%252e")[0], 404)  # a name, odd as it is
        self.assertEqual(self.desk.json("GET", "api/folder?id=%252E%252E")[0], 400)
        self.assertEqual(self.desk.ask("GET", "api/folder?path=a%00b")[0], 400)
        for path in ("page/../index.html", "page/..%2f..%2fetc%2fpasswd", "page/%2e%2e/%2e%2e/etc/passwd", "page//etc/passwd", "../" + self.desk.root.strip("/") + "/"):
            status, _, body = self.desk.ask("GET", path)
            self.assertIn(status, (400, 404), path)
            self.assertNotIn(b"root:", body)
        _, listing = self.desk.json("GET", "api/folder")
        self.assertEqual([file["name"] for file in listing["files"]], ["mix.wav"])
        self.assertEqual(listing["folders"], [])

    def test_wrong_requests_are_refused_in_words(self):
        for body, status in ((b"{", 400), (b"[]", 400), (b"\xff", 400), (b'{"files":[]}', 400), (b'{"files":[{"path":"mix.wav"}],"rules":["gone"]}', 400),
                             (b'{"files":[{"path":"mix.wav"}],"rules":["/etc/passwd"]}', 400), (b'{"files":[{"path":"mix.wav"}],"rules":["../x.toml"]}', 400),
                             (b'{"files":[{"upload":"u1"}]}', 404), (b" " * (1 << 20) + b"{}", 413), (b"[" * (1 << 20), 400)):
            got, headers, text = self.desk.ask("POST", "api/checks", body)
            self.assertEqual(got, status, body[:40])
            self.assertEqual(headers["content-type"], "application/json")
            self.assertTrue(json.loads(text)["error"]["text"])
        for method, path in (("GET", "api/checks/c1"), ("POST", "api/checks/c1/stop"), ("DELETE", "api/checks/c1"), ("DELETE", "api/upload?upload=u1"),
                             ("GET", "api/checks/c1/sheet.json"), ("GET", "api/nothing"), ("POST", "api/state"), ("DELETE", "")):
            self.assertEqual(self.desk.json(method, path)[0], 404, path)
        self.assertEqual(self.desk.ask("PUT", "")[0], 405)
        big = self.head("POST", "api/checks", None, "Content-Length: 999999999999\r\n")
        self.assertIn(b"413", self.desk.raw(big)[:20])
        for more in ("", "Transfer-Encoding: chunked\r\n", "Content-Length: -1\r\n", "Content-Length: 1\r\nContent-Length: 2\r\n", "Content-Length: x\r\n",
                     "Content-Length: 5\r\nContent-Encoding: gzip\r\n", "Content-Length: 5\r\nContent-Type: multipart/form-data; boundary=x\r\n"):
            self.assertEqual(self.status(self.head("POST", "api/checks", None, more)), 400, more)

    def test_odd_bytes_end_in_an_answer_or_a_closed_connection(self):
        for head in (b"\r\n\r\n", b"\x00" * 100 + b"\r\n\r\n", b"GET\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",
                     self.head(more="Range: bytes=" + "0-0," * 1900 + "0-0\r\n"), self.head(path="a" * 9000), self.head(path="%" * 4000), self.head(more="X: " + "y" * 9000 + "\r\n"),
                     self.head(path="".join(f"%u{n:04x}" for n in range(500))), self.head(path="?" + "&" * 7000), self.head(path="a/" * 3500)):
            answer = self.desk.raw(head)
            self.assertTrue(answer == b"" or answer.startswith(b"HTTP/1.1 "), (head[:60], answer[:60]))
        self.assertEqual(self.desk.ask("GET", "api/state")[0], 200)

    def memory_kib(self):
        status = pathlib.Path(f"/proc/{self.desk.process.pid}/status").read_text()
        return int(next(line.split()[1] for line in status.splitlines() if line.startswith("VmRSS:")))

    def test_a_head_without_an_end_is_neither_kept_nor_read_for_ever(self):
        before = self.memory_kib()
        for piece in (b"X: y\r\n", b"z" * 1000):
            start = time.monotonic()
            with socket.create_connection(("127.0.0.1", self.desk.port), timeout=30) as connection:
                connection.sendall(f"GET {self.desk.root} HTTP/1.1\r\nHost: {self.desk.host}\r\n".encode())
                try:
                    while time.monotonic() < start + 30:
                        connection.sendall(piece * 100)
                except OSError:
                    pass
                self.assertLess(time.monotonic(), start + 20)
        self.assertLess(self.memory_kib() - before, 64 << 10)
        self.assertEqual(self.desk.ask("GET", "api/state")[0], 200)

    def test_clients_that_say_nothing_or_half_keep_nobody_else_waiting(self):
        half = []
        for n in range(30):
            connection = socket.create_connection(("127.0.0.1", self.desk.port), timeout=60)
            self.addCleanup(connection.close)
            connection.sendall([b"", self.head()[:20], self.head()[:-2]][n % 3])
            half.append(connection)
        start = time.monotonic()
        self.assertEqual(self.desk.ask("GET", "api/state")[0], 200)
        self.assertLess(time.monotonic() - start, 5)
        for connection in half:  # each is shown the door after ten seconds
            try:
                while connection.recv(4096):
                    pass
            except ConnectionResetError:
                pass
        self.assertLess(time.monotonic() - start, 30)

    def test_a_head_of_which_a_line_goes_on_is_refused(self):
        for more in ("X: a\r\n b\r\n", "X: a\r\n\tb\r\n", "X:\r\n \r\n"):
            self.assertEqual(self.status(self.head("GET", "api/state", None, more)), 400, more)
        self.assertEqual(self.status(self.head("GET", "api/state", f"{self.desk.host}\r\n .example")), 400)
        self.assertEqual(self.status(self.head("GET", "api/state", None, "X: a\r\nY: b\r\n")), 200)

    def test_many_who_say_nothing_or_read_nothing_keep_nobody_waiting(self):
        self.put("long.wav", lab.long_wav(60))
        self.assertEqual(self.desk.ask("GET", "api/sound?path=long.wav&whole=1")[0], 200)
        silent, stuck = [], []
        for many, into, head in ((100, silent, b""), (60, stuck, self.head("GET", "api/sound/audio.wav?path=long.wav"))):
            for _ in range(many):
                connection = socket.socket()
                self.addCleanup(connection.close)
                connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
                connection.settimeout(30)
                connection.connect(("127.0.0.1", self.desk.port))
                connection.sendall(head)
                into.append(connection)
        time.sleep(0.3)  # so that all of them are taken in
        for path in ("", "page/main.js", "api/state", "api/folder", "api/checks"):
            start = time.monotonic()
            self.assertEqual(self.desk.ask("GET", path)[0], 200, path)
            self.assertLess(time.monotonic() - start, 2, path)
        # Sound is sent again as soon as those who read nothing are shown the door, which is soon where there are many.
        start, status = time.monotonic(), 503
        while status == 503 and time.monotonic() < start + 10:
            status = self.desk.ask("GET", "api/sound/audio.wav?path=long.wav", Range="bytes=0-99")[0]
            time.sleep(0.05)
        self.assertEqual(status, 206)
        check = self.desk.check({"path": "mix.wav"})
        self.assertEqual(self.desk.finished(check)["state"], "done")

    def test_clients_that_go_in_the_middle_leave_nothing(self):
        for n in range(20):
            with socket.create_connection(("127.0.0.1", self.desk.port), timeout=30) as connection:
                connection.sendall(self.head("POST", "api/upload?name=a.wav", None, "Content-Length: 1000000\r\n") + b"x" * 1000 * n)
        # Nothing lies there before the program has come to them, either: it stays away for a second.
        end, empty = time.monotonic() + 30, 0
        while empty < 20 and time.monotonic() < end:
            empty = 0 if self.desk.scratch() else empty + 1
            time.sleep(0.05)
        self.assertEqual(empty, 20)
        self.assertEqual(self.desk.ask("GET", "api/state")[0], 200)


class Served(lab.Case):
    def test_what_the_page_is_told_at_first(self):
        self.config.mkdir(parents=True)
        (self.config / "config.toml").write_text('[defaults]\nrules = ["cd"]\n')
        (self.config / "rules").mkdir()
        (self.config / "rules" / "broken.toml").write_text("[")
        desk = Desk(self)
        _, state = desk.json("GET", "api/state")
        self.assertEqual(set(state), {"version", "folder", "rules", "default_rules", "limits", "titles", "caution", "cautions", "ways", "heard", "asked", "by_channel", "before_s", "after_s", "quiet_db", "titles"})
        self.assertEqual(state["titles"]["true_peak"], "True peak")
        self.assertEqual(state["folder"], {"name": "room", "path": str(self.room.resolve())})
        self.assertEqual(state["default_rules"], ["cd"])
        self.assertIn("premaster", [rule["name"] for rule in state["rules"]])
        self.assertNotIn("broken", [rule["name"] for rule in state["rules"]])
        self.assertTrue(all(rule["title"] and rule["about"] for rule in state["rules"]))
        self.assertEqual(state["limits"]["upload_bytes"], 4 << 30)
        status, headers, page = desk.ask("GET", "")
        self.assertEqual((status, headers["content-type"]), (200, "text/html; charset=utf-8"))
        own = {p.name: p.read_bytes() for p in (lab.SOURCE / "src/desk/page").iterdir()}
        self.assertEqual(page, own["index.html"])
        for name, content in own.items():
            status, headers, got = desk.ask("GET", f"page/{name}")
            self.assertEqual((status, got), (200, content), name)
            if name.endswith(".js"):
                self.assertEqual(headers["content-type"], "text/javascript; charset=utf-8")
        for text in own.values():
            self.assertNotRegex(text.decode(), r"(?i)(src|href)\s*=\s*[\"']?(https?:)?//")

    def test_a_check_comes_to_the_sheet_that_check_prints(self):
        self.put("mix.wav", lab.wav(2))
        self.put("sub/b.wav", SHORT)
        desk = Desk(self)
        _, listing = desk.json("GET", "api/folder")
        self.assertEqual(listing["folders"], [{"name": "sub", "path": "sub"}])
        self.assertEqual(listing["files"][0]["bytes"], os.path.getsize(self.room / "mix.wav"))
        self.assertRegex(listing["files"][0]["modified"], r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$")
        _, below = desk.json("GET", "api/folder?path=sub")
        self.assertEqual(below["files"][0]["path"], "sub/b.wav")
        files = ["mix.wav", "sub/b.wav"]
        check = desk.check(*({"path": path} for path in files), rules=("premaster", "cd"))
        told = desk.finished(check)
        self.assertEqual((told["state"], told["done"], told["total"], told["fraction"]), ("done", 2, 2, 1.0))
        for ending, form in (("json", "json"), ("jsonl", "jsonl"), ("csv", "csv"), ("xml", "junit"), ("txt", "text"), ("html", "html")):
            _, own, _ = self.run_program("check", "--rules", "premaster", "--rules", "cd", "--format", form, *files)
            status, headers, got = desk.ask("GET", f"api/checks/{check}/sheet.{ending}")
            self.assertEqual(status, 200)
            self.assertEqual(got, own, ending)
            self.assertNotIn("content-disposition", headers)
            _, headers, _ = desk.ask("GET", f"api/checks/{check}/sheet.{ending}?save=1")
            self.assertEqual(headers["content-disposition"], f'attachment; filename="sheet.{ending}"')
        sheet = json.loads(desk.ask("GET", f"api/checks/{check}/sheet.json")[2])
        self.assertEqual(told["verdict"], sheet["verdict"])
        self.assertEqual({file["name"]: file["verdict"] for file in told["files"]}, {"mix.wav": sheet["files"][0]["verdict"], "b.wav": sheet["files"][1]["verdict"]})
        self.assertEqual(desk.json("DELETE", f"api/checks/{check}")[0], 200)
        self.assertEqual(desk.json("GET", "api/checks")[1], {"checks": []})
        self.assertEqual(desk.scratch(), [])

    def test_a_dropped_file_gets_the_sheet_it_would_have_where_it_lies(self):
        content = lab.wav(2)
        name = "Ünder the bridge (final).wav"
        self.put(name, content)
        _, own, _ = self.run_program("check", "--format", "json", name)
        (self.room / name).unlink()
        desk = Desk(self)
        status, _, text = desk.ask("POST", "api/upload?name=" + urllib.parse.quote(name), content)
        self.assertEqual((status, json.loads(text)), (200, {"upload": "u1", "name": name, "bytes": len(content)}))
        check = desk.check({"upload": "u1"})
        self.assertEqual(desk.finished(check)["files"][0]["name"], name)
        self.assertEqual(desk.ask("GET", f"api/checks/{check}/sheet.json")[2], own)
        for ending in ("html", "json", "jsonl", "txt", "csv", "xml"):
            self.assertNotIn(b"sendworthy-desk", desk.ask("GET", f"api/checks/{check}/sheet.{ending}")[2])
        again = desk.check({"upload": "u1"}, rules=("cd",))
        desk.finished(again)
        desk.json("DELETE", f"api/checks/{check}")
        self.assertIn("u1", [p.name for p in desk.scratch()])
        desk.json("DELETE", f"api/checks/{again}")
        self.assertEqual(desk.scratch(), [])

    def test_uploads_are_bounded(self):
        desk = Desk(self)
        head = "POST {}api/upload?name={} HTTP/1.1\r\nHost: {}\r\nContent-Length: {}\r\n\r\n"
        for name, length, status in (("a.wav", (4 << 30) + 1, 413), ("..", 1, 400), ("a%2Fb.wav", 1, 400), ("", 1, 400), ("a%5Cb", 1, 400), ("a" * 256, 1, 400)):
            answer = desk.raw(head.format(desk.root, name, desk.host, length).encode())
            self.assertEqual(int(answer.split()[1]), status, name[:20])
        for n in range(500):
            self.assertEqual(desk.ask("POST", f"api/upload?name={n}.wav", b"x")[0], 200)
        self.assertEqual(desk.ask("POST", "api/upload?name=more.wav", b"x")[0], 413)
        self.assertEqual(desk.json("DELETE", "api/upload?upload=u7")[0], 200)
        self.assertEqual(desk.ask("POST", "api/upload?name=more.wav", b"x")[0], 200)
        status, told = desk.json("POST", "api/checks", {"files": [{"upload": f"u{n}"} for n in range(1, 502) if n not in (7, 501)]})
        self.assertEqual(status, 200)
        told = desk.finished(told["check"], 120)
        self.assertEqual((told["state"], told["done"]), ("done", 499))
        self.assertTrue(all(file["verdict"] == "fail" and file["error"] for file in told["files"]))

    def test_hostile_names_do_nothing(self):
        names = [b"<img src=x onerror=alert(1)>.wav", b"\x1b[31mred.wav", b"caf\xe9.wav", b"\"'&;.wav", b"a\nb.wav", "\u202egnp.wav".encode(), b"-rf.wav", b"%2e%2e.wav"]
        for name in names:
            self.put(name, SHORT)
        desk = Desk(self)
        status, _, text = desk.ask("GET", "api/folder")
        self.assertEqual(status, 200)
        listing = json.loads(text)
        self.assertEqual(len(listing["files"]), len(names))
        odd = [file for file in listing["files"] if "id" in file]
        self.assertEqual([file["id"] for file in odd], ["caf%E9.wav"])
        check = desk.check(*({"id": file["id"]} if "id" in file else {"path": file["path"]} for file in listing["files"]))
        told = desk.finished(check)
        self.assertFalse(any("error" in file for file in told["files"]), told)
        _, _, page = desk.ask("GET", f"api/checks/{check}/sheet.html")
        self.assertNotIn(b"<img src=x", page)
        for ending in ("html", "json", "jsonl", "txt"):
            self.assertNotIn(b"\x1b", desk.ask("GET", f"api/checks/{check}/sheet.{ending}")[2])
        one = desk.check({"path": "\"'&;.wav"})
        desk.finished(one)
        _, headers, _ = desk.ask("GET", f"api/checks/{one}/sheet.json?save=1")
        self.assertEqual(headers["content-disposition"], 'attachment; filename="sheet.json"')
        for name in ("a\r\nSet-Cookie: x=1.wav", "<script>.wav"):
            status, headers, text = desk.ask("POST", "api/upload?name=" + urllib.parse.quote(name), SHORT)
            self.assertEqual(status, 200)
            self.assertNotIn("set-cookie", headers)
            upload = desk.check({"upload": json.loads(text)["upload"]})
            desk.finished(upload)
            _, headers, _ = desk.ask("GET", f"api/checks/{upload}/sheet.txt?save=1")
            self.assertNotIn("set-cookie", headers)
            self.assertRegex(headers["content-disposition"], r'^attachment; filename="[0-9A-Za-z_.-]+"$')

    def test_files_that_vanish_get_their_error(self):
        self.put("a.wav", SHORT)
        desk = Desk(self)
        check = desk.check({"path": "a.wav"}, {"path": "gone.wav"})
        told = desk.finished(check)
        self.assertEqual(told["verdict"], "fail")
        self.assertIn("there is no such file", told["files"][1]["error"])

    def test_a_check_stops_while_it_runs_and_the_next_one_runs(self):
        self.put("long.wav", lab.long_wav(1200))
        self.put("a.wav", SHORT)
        desk = Desk(self, "--no-cache")
        first, second = desk.check({"path": "long.wav"}), desk.check({"path": "a.wav"})
        deadline = time.monotonic() + 60
        while desk.json("GET", f"api/checks/{first}")[1]["state"] == "waiting" and time.monotonic() < deadline:
            time.sleep(0.01)
        self.assertEqual(desk.json("GET", f"api/checks/{first}/sheet.json")[0], 409)
        self.assertEqual(desk.json("POST", f"api/checks/{first}/stop")[0], 200)
        self.assertEqual(desk.finished(first)["state"], "stopped")
        self.assertEqual(desk.json("GET", f"api/checks/{first}/sheet.json")[0], 409)
        self.assertEqual(desk.finished(second)["state"], "done")


class Told(lab.Case):
    def stream(self, desk, path="api/events"):
        connection = http.client.HTTPConnection("127.0.0.1", desk.port, timeout=30)
        self.addCleanup(connection.close)
        connection.request("GET", desk.root + path)
        answer = connection.getresponse()
        return connection, answer

    def events(self, answer, until):
        """Events up to the first that `until` takes: (name, data)."""
        got, name = [], None
        while True:
            line = answer.readline().decode()
            self.assertNotEqual(line, "", got)
            if line.startswith("event: "):
                name = line[7:].strip()
            if line.startswith("data: "):
                got.append((name, json.loads(line[6:])))
                if until(*got[-1]):
                    return got

    def test_two_streams_tell_the_same_to_the_end(self):
        self.put("a.wav", lab.wav(3))
        desk = Desk(self, "--no-cache")
        _, one = self.stream(desk)
        _, two = self.stream(desk)
        self.assertEqual((one.status, one.getheader("content-type")), (200, "text/event-stream"))
        check = desk.check({"path": "a.wav"})
        for answer in (one, two):
            got = self.events(answer, lambda name, data: name == "check" and data["state"] == "done")
            self.assertTrue(all(data["check"] == check for _, data in got))
            fractions = [data["fraction"] for _, data in got]
            self.assertEqual(fractions, sorted(fractions))
            self.assertEqual(got[-1][1], desk.json("GET", f"api/checks/{check}")[1])
        desk.json("DELETE", f"api/checks/{check}")
        self.assertEqual(self.events(one, lambda name, _: name == "removed")[-1], ("removed", {"check": check}))
        _, late = self.stream(desk)
        again = desk.check({"path": "a.wav"})
        self.events(late, lambda name, data: name == "check" and data["check"] == again and data["state"] == "done")

    def test_a_folder_that_changes_is_told(self):
        (self.room / "sub").mkdir()
        desk = Desk(self)
        _, answer = self.stream(desk, "api/events?path=sub")
        time.sleep(0.3)
        self.put("sub/new.wav", SHORT)
        self.assertEqual(self.events(answer, lambda name, _: name == "folder")[-1], ("folder", {"path": "sub"}))

    def test_sixteen_streams_and_no_more_until_one_goes(self):
        desk = Desk(self)
        streams = [self.stream(desk) for _ in range(16)]
        self.assertTrue(all(answer.status == 200 for _, answer in streams))
        self.assertEqual(self.stream(desk)[1].status, 503)
        self.assertEqual(desk.ask("GET", "api/state")[0], 200)
        connection, answer = streams[0]
        answer.close()
        connection.close()
        deadline = time.monotonic() + 20
        while self.stream(desk)[1].status == 503 and time.monotonic() < deadline:
            time.sleep(0.2)
        self.assertLess(time.monotonic(), deadline)


class Ends(lab.Case):
    def test_a_signal_ends_it_soon_and_takes_what_was_dropped(self):
        self.put("long.wav", lab.long_wav(1200))
        for how in (signal.SIGTERM, signal.SIGINT):
            desk = Desk(self, "--no-cache")
            desk.ask("POST", "api/upload?name=a.wav", SHORT)
            connection = http.client.HTTPConnection("127.0.0.1", desk.port, timeout=30)
            self.addCleanup(connection.close)
            connection.request("GET", desk.root + "api/events")
            connection.getresponse()
            half = socket.create_connection(("127.0.0.1", desk.port), timeout=30)
            self.addCleanup(half.close)
            half.sendall(f"POST {desk.root}api/upload?name=b.wav HTTP/1.1\r\nHost: {desk.host}\r\nContent-Length: 1000\r\n\r\nabc".encode())
            check = desk.check({"path": "long.wav"}, {"upload": "u1"})
            while desk.json("GET", f"api/checks/{check}")[1]["state"] == "waiting":
                time.sleep(0.01)
            self.assertNotEqual(desk.scratch(), [])
            start = time.monotonic()
            desk.process.send_signal(how)
            self.assertEqual(desk.process.wait(30), 130)
            self.assertLess(time.monotonic() - start, 3)
            self.assertEqual(list(desk.temporary.iterdir()), [])
            self.assertEqual(desk.process.stderr.read(), b"")

    def test_its_port_is_free_again_at_once(self):
        desk = Desk(self)
        desk.ask("GET", "")
        desk.end()
        again = Desk(self, "--port", str(desk.port))
        self.assertEqual(again.port, desk.port)
        self.assertEqual(again.ask("GET", "api/state")[0], 200)

    def test_the_browser_is_opened_where_there_is_a_desktop_and_nobody_said_no(self):
        bin_folder = self.folder / "bin"
        bin_folder.mkdir()
        opened = self.folder / "opened"
        lives = self.folder / "lives"
        (bin_folder / "xdg-open").write_text(f'#!/bin/sh\necho "$1" >"{opened}"\nsleep 1\necho "$1" >"{lives}"\n')
        (bin_folder / "xdg-open").chmod(0o755)
        for env, arguments, wanted in (({"DISPLAY": ":9"}, (), True), ({"WAYLAND_DISPLAY": "w"}, (), True), ({"DISPLAY": ":9"}, ("--no-open",), False), ({}, (), False)):
            opened.unlink(missing_ok=True)
            lives.unlink(missing_ok=True)
            process = subprocess.Popen([lab.PROGRAM, "desk", *arguments], cwd=self.room, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                                       env=self.environment(**{**env, "PATH": f"{bin_folder}:/usr/bin:/bin"}))
            address = process.stdout.readline().decode().split()[1]
            deadline = time.monotonic() + (20 if wanted else 1)
            while not (opened.exists() and opened.read_text()) and time.monotonic() < deadline:
                time.sleep(0.02)
            self.assertEqual(opened.read_text().strip() if opened.exists() else None, address if wanted else None)
            process.send_signal(signal.SIGTERM)
            self.assertEqual(process.wait(20), 130)
            process.stdout.close()
            while wanted and not lives.exists() and time.monotonic() < deadline + 20:
                time.sleep(0.02)
            self.assertEqual(lives.exists(), wanted)  # the browser outlives the program


if __name__ == "__main__":
    lab.main()

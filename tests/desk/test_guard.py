"""Only this machine and this user: hosts, origins, keys, paths, sizes. Plain HTTP, no browser."""

from __future__ import annotations

import http.client
import json
import re
import socket
import threading
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from disc.job import open_job

from .rig import make_job, run_disc, running_command


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    folder = make_job(tmp_path_factory.mktemp("guard") / "watch")
    (folder.parent / "secret.txt").write_text("not for the desk")
    with running_command(folder) as address:
        yield Asker(address), folder


class Asker:
    """A client that may lie about anything."""

    def __init__(self, address: str) -> None:
        parts = urlsplit(address)
        self.port, self.key = parts.port, parts.query.removeprefix("key=")
        status, headings, _ = self.ask("GET", f"/?key={self.key}", cookie=False)
        assert status == 302 and headings["Location"] == "/"
        self.cookie = headings["Set-Cookie"].split(";")[0]
        assert "HttpOnly" in headings["Set-Cookie"] and "SameSite=Strict" in headings["Set-Cookie"]

    def ask(self, method, path, body=None, cookie=True, **headings):
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        sent = {"Host": f"127.0.0.1:{self.port}"}
        if cookie:
            sent["Cookie"] = self.cookie
        sent |= {name.replace("_", "-"): value for name, value in headings.items() if value is not None}
        connection.request(method, path, body, sent)
        answer = connection.getresponse()
        result = answer.status, dict(answer.getheaders()), answer.read()
        connection.close()
        return result


@pytest.mark.parametrize(
    "host", ["example.org", "127.0.0.1", "127.0.0.1:1", "localhost.example.org:{port}", "[::1]:{port}"]
)
def test_other_hosts_are_refused(desk, host):
    asker, _ = desk
    status, _, body = asker.ask("GET", "/api/state", Host=host.format(port=asker.port))
    assert status == 403 and b"own address" in body


@pytest.mark.parametrize("origin", ["http://example.org", "null", "http://127.0.0.1:1", "https://127.0.0.1:{port}"])
def test_other_origins_are_refused(desk, origin):
    asker, _ = desk
    status, _, body = asker.ask("POST", "/api/history", '{"to": 0}', Origin=origin.format(port=asker.port), X_Desk="1")
    assert status == 403 and b"another page" in body


def test_without_key_nothing_is_told(desk):
    asker, _ = desk
    for path in ("/", "/api/state", "/static/desk.css", "/api/picture/upper", "/api/news", "/nowhere"):
        status, _, body = asker.ask("GET", path, cookie=False)
        assert status == 403 and b"key" in body, path
    assert asker.ask("GET", "/api/state", cookie=False, Cookie=f"disc_desk_{asker.port}=wrong")[0] == 403
    assert asker.ask("GET", "/?key=wrong", cookie=False)[0] == 403


def test_changes_need_the_page_s_own_heading(desk):
    asker, folder = desk
    before = (folder / "pins.csv").read_bytes()
    request = json.dumps({"do": "remove", "pins": [1]})
    assert asker.ask("POST", "/api/edit", request)[0] == 403
    assert (folder / "pins.csv").read_bytes() == before


OUTSIDE = """/files/../secret.txt /files/..%2Fsecret.txt /files/out/../../secret.txt /files//etc/passwd /files/job.json
/files/.lock /static/../session.py /static/js/../../../session.py /api/recording/..%2Fjob.json /api/picture/flat-..
/api/uploaded/0000000000000000"""


@pytest.mark.parametrize("path", OUTSIDE.split())
def test_no_path_leads_out_of_the_job(desk, path):
    asker, _ = desk
    status, _, body = asker.ask("GET", path)
    assert status in (400, 404) and b"not for the desk" not in body and b"root:" not in body and b"schema" not in body


def test_a_link_inside_the_job_leads_nowhere_else(desk):
    asker, folder = desk
    (folder / "out").mkdir(exist_ok=True)
    (folder / "out" / "link.txt").symlink_to(folder.parent / "secret.txt")
    (folder / "out" / "up").symlink_to(folder.parent)
    (folder / "recordings").mkdir(exist_ok=True)
    (folder / "recordings" / "letter.txt").write_text("not for the desk")
    for path in ("/files/out/link.txt", "/files/out/up/secret.txt", "/api/recording/letter.txt"):
        status, _, body = asker.ask("GET", path)
        assert status == 404 and b"not for the desk" not in body, path
    (folder / "out" / "link.txt").unlink()
    (folder / "out" / "up").unlink()


def test_the_desk_listens_on_this_machine_s_own_address_alone(desk):
    """Bound to all addresses it would answer on 127.0.0.2 too, which is this machine as well (RFC 1122, 3.2.1.3)."""
    asker, _ = desk
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.2", asker.port), timeout=5).close()


def test_answers_carry_the_rules(desk):
    asker, _ = desk
    _, headings, page = asker.ask("GET", "/")
    policy = headings["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy
    assert headings["X-Content-Type-Options"] == "nosniff" and headings["Referrer-Policy"] == "no-referrer"
    # Nothing in the shipped page names another host.
    links = re.findall(rb'(?:src|href)="([^"]+)"', page)
    assert links and all(link.startswith(b"/static/") for link in links)


def test_bad_requests_are_told_in_words(desk):
    asker, folder = desk
    before = (folder / "pins.csv").read_bytes()
    cases = {
        '{"do": "paint"}': "knows no edit called 'paint'",
        '{"do": "remove", "pins": [4711]}': "no pin 4711",
        '{"do": "remove", "pins": []}': "no pin is selected",
        '{"do": "change", "pins": [1], "changes": {"condition": "shiny"}}': "must be one of sound, bent",
        '{"do": "change", "pins": [1], "changes": {"id": 3}}': "cannot be changed",
        '{"do": "change", "pins": [1], "changes": {"tooth": 99}}': "no tooth 99",
        '{"do": "add", "side": "upper", "r_mm": 13.999, "theta_deg": 400}': "must lie from 0 below 360",
        '{"do": "add", "side": "upper", "r_mm": 15, "theta_deg": 3}': "outside the plate",
        '{"do": "add", "side": "upper", "r_mm": 0.4, "theta_deg": 3}': "in the bore",
        '{"do": "add", "sheet": "upper", "at": ["a", 1]}': "not a number",
        '{"do": "add", "side": "inner", "r_mm": 5, "theta_deg": 3}': "upper or lower",
        "[]": "not an object",
        "{": "cannot be read",
        "[" * 5000: "cannot be read",
        '{"do": "note", "pins": [1], "note": "' + "x" * 1_100_000 + '"}': "too long",
    }
    for body, words in cases.items():
        status, _, answer = asker.ask("POST", "/api/edit", body, X_Desk="1")
        assert status == 400 and words in json.loads(answer)["error"], body[:60]
    assert (folder / "pins.csv").read_bytes() == before


def test_every_bad_value_gets_one_line_and_never_a_fault(desk):
    """Odd values in every field of every request ("?"): refused in one line, or done; never a mistake of the desk."""
    asker, _ = desk
    asked = json.loads((Path(__file__).parent / "odd_requests.json").read_text(encoding="utf-8"))
    faults = []
    for address, shapes in asked["shapes"].items():
        for shape in shapes:
            for odd in asked["odd"]:
                body = json.dumps(shape).replace('"?"', json.dumps(odd))
                status, _, answer = asker.ask("POST", address, body, X_Desk="1")
                words = "" if status == 200 else json.loads(answer)["error"]
                if status not in (200, 400, 404, 409) or "\n" in words or "Traceback" in words:
                    faults.append((address, body[:120], status, words))
    assert faults == []
    assert asker.ask("POST", "/api/history", '{"to": 0}', X_Desk="1")[0] == 200


def test_uploads_are_limited_and_checked(desk):
    asker, folder = desk
    status, _, body = asker.ask("PUT", "/api/upload/photo", b"not a picture", X_Desk="1", X_Name="a.jpg")
    assert status == 400 and "a.jpg" in json.loads(body)["error"]
    status, _, body = asker.ask("PUT", "/api/upload/photo", b"x", X_Desk="1", X_Name="a.sh")
    assert status == 400 and "must end in one of" in json.loads(body)["error"]
    status, _, body = asker.ask("PUT", "/api/upload/recording", b"", X_Desk="1", X_Name="a.wav")
    assert status == 400 and "empty" in json.loads(body)["error"]
    status, _, body = asker.ask("PUT", "/api/upload/table", b"1", X_Desk="1", X_Name="..%2F..%2Fescape.csv")
    assert status == 200 and json.loads(body)["name"] == "escape.csv"
    assert not list(folder.parent.glob("**/escape.csv"))
    # A body announced as larger than the limit is cut off before it is read.
    connection = http.client.HTTPConnection("127.0.0.1", asker.port, timeout=20)
    connection.putrequest("PUT", "/api/upload/photo", skip_host=True)
    for name, value in {
        "Host": f"127.0.0.1:{asker.port}",
        "Cookie": asker.cookie,
        "X-Desk": "1",
        "X-Name": "a.jpg",
        "Content-Length": "900000000",
    }.items():
        connection.putheader(name, value)
    connection.endheaders()
    with pytest.raises((http.client.HTTPException, ConnectionError, AssertionError)):
        assert connection.getresponse().status == 200
    assert sorted(path.name for path in folder.iterdir() if path.name.startswith(("a.", ".."))) == []


def test_a_second_desk_on_the_same_job_says_so(desk):
    asker, folder = desk
    second = run_disc("desk", str(folder), "--no-browser")
    out, err = second.communicate(timeout=30)
    assert second.returncode == 2 and out == ""
    assert err.count("\n") == 1 and "a desk is open on this job already" in err and str(asker.port) in err
    assert "Traceback" not in err


def test_a_folder_of_other_things_is_refused(tmp_path):
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "a.txt").write_text("x")
    for target, words in {
        tmp_path / "letters": "holds no job",
        tmp_path / "letters" / "a.txt": "a file, not a folder",
    }.items():
        done = run_disc("desk", str(target), "--no-browser")
        _, err = done.communicate(timeout=30)
        assert done.returncode == 2 and words in err and "Traceback" not in err


def test_another_command_at_work_is_told(desk):
    asker, folder = desk
    from disc.job.journal import locked

    with locked(folder):
        status, _, body = asker.ask("POST", "/api/edit", '{"do": "note", "pins": [1], "note": "x"}', X_Desk="1")
    assert status == 409 and "another command is working on this job" in json.loads(body)["error"]


def test_the_desk_ends_cleanly(tmp_path):
    folder = tmp_path / "fresh"
    with running_command(folder):
        assert (folder / ".desk.lock").exists()
    assert not folder.exists()  # nothing was started: nothing is left


def test_after_a_kill_the_desk_opens_again(tmp_path):
    folder = make_job(tmp_path / "watch")
    first = run_disc("desk", str(folder), "--no-browser", "--json")
    assert first.stdout is not None and first.stdout.readline()
    first.kill()
    first.communicate(timeout=30)
    with running_command(folder) as address:
        assert Asker(address).ask("GET", "/api/state")[0] == 200


def test_killed_while_it_serves_every_edit_it_confirmed_is_there(tmp_path):
    folder = make_job(tmp_path / "watch")
    process = run_disc("desk", str(folder), "--no-browser", "--json")
    asker = Asker(json.loads(process.stdout.readline())["address"])
    confirmed = 0
    with suppress(OSError, http.client.HTTPException):
        for number in range(10_000):
            note = json.dumps({"do": "note", "pins": [1 + number % 40], "note": f"note {number}"})
            status, _, _ = asker.ask("POST", "/api/edit", note, X_Desk="1")
            assert status == 200
            confirmed += 1
            if confirmed == 3:
                threading.Timer(0.37, process.kill).start()
    process.communicate(timeout=30)
    done, _ = open_job(folder).corrections()
    assert [c.note for c in done][:confirmed] == [f"note {number}" for number in range(confirmed)]
    assert len(done) <= confirmed + 1
    with running_command(folder) as address:
        state = json.loads(Asker(address).ask("GET", "/api/state")[2])
    assert state["history"]["done"] == len(done)


def test_an_earlier_job_that_is_none_is_told_at_once(tmp_path):
    folder = make_job(tmp_path / "watch")
    done = run_disc("desk", str(folder), "--no-browser", "--earlier", str(tmp_path / "nowhere"))
    out, err = done.communicate(timeout=30)
    assert done.returncode == 2 and out == "" and "no job here" in err and err.count("\n") == 1


def test_a_recording_is_given_in_parts(desk):
    asker, folder = desk
    (folder / "recordings").mkdir(exist_ok=True)
    (folder / "recordings" / "a.wav").write_bytes(bytes(range(200)))
    status, headings, body = asker.ask("GET", "/api/recording/a.wav", Range="bytes=50-59")
    # RFC 9110, 15.3.7: 206 with the range sent.
    assert status == 206 and headings["Content-Range"] == "bytes 50-59/200" and body == bytes(range(50, 60))
    assert asker.ask("GET", "/api/recording/a.wav")[2] == bytes(range(200))

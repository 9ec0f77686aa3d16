"""What the server lets in, and what its page asks for."""

from __future__ import annotations

import http.client
import re
import shlex
import sys
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from click.testing import CliRunner

from pathway.cli.main import main

PAGE = Path(__file__).parents[3] / "tui" / "web" / "app_index.html"


def ask(address: str, path: str, **headers: str) -> tuple[int, dict[str, str], str]:
    """Ask once, a little later again while the server is starting."""
    place = urlsplit(address)
    for attempt in range(200):
        asked = http.client.HTTPConnection(place.hostname or "", place.port, timeout=20)
        try:
            asked.request("GET", path, headers=headers)
            answer = asked.getresponse()
            return answer.status, dict(answer.getheaders()), answer.read().decode()
        except ConnectionRefusedError:
            if attempt == 199:
                raise
            __import__("time").sleep(0.05)
        finally:
            asked.close()
    raise AssertionError("never answered")


@pytest.fixture
def key(address: str) -> str:
    return f"/?{urlsplit(address).query}"


@pytest.fixture
def visit(address: str, key: str) -> tuple[str, str]:
    """Return the path of a visit and its cookie, which belongs to that path alone."""
    status, headers, _ = ask(address, key)
    path = headers["Location"]
    assert (status, bool(re.fullmatch(r"/s/[\w-]{20,}/", path))) == (302, True)
    assert {"HttpOnly", "SameSite=Strict", f"Path={path}"} <= set(re.split("; *", headers["Set-Cookie"]))
    assert urlsplit(address).query.removeprefix("key=") not in headers["Set-Cookie"] + path
    return path, headers["Set-Cookie"].split(";")[0]


@pytest.fixture
def path(visit: tuple[str, str]) -> str:
    return visit[0]


@pytest.fixture
def cookie(visit: tuple[str, str]) -> str:
    return visit[1]


@pytest.mark.parametrize("asked", ["/", "/?key=guessed", "/ws", "/static/js/textual.js", "/s/guessed/", "/download/x"])
def test_without_the_key_nothing_is_answered(address, asked) -> None:
    status, _, said = ask(address, asked)
    assert (status, "with its key" in said) == (403, True)


def test_neither_the_path_of_a_visit_nor_its_cookie_opens_it_alone(address, key, path, cookie) -> None:
    other = ask(address, key)[1]["Location"]
    assert ask(address, path, Cookie=cookie)[0] == 200
    assert ask(address, path)[0] == 403
    assert ask(address, "/", Cookie=cookie)[0] == 403
    assert ask(address, other, Cookie=cookie)[0] == 403


@pytest.mark.parametrize("site", ["same-site", "cross-site"])
def test_a_request_that_another_page_of_the_browser_makes_is_refused(address, key, path, cookie, site) -> None:
    """A page of another port is of the same site: the browser says so, and the cookie comes along."""
    headers = {"Cookie": cookie, "Sec-Fetch-Site": site}
    assert ask(address, path, **headers)[0] == 403
    assert ask(address, key, **headers)[0] == 403


@pytest.mark.parametrize(
    "name",
    ["../server.py", "..%2f..%2fserver.py", "%2e%2e/app_service.py", "/etc/passwd", "js", "", "css/../js/textual.js"],
)
def test_no_file_of_the_server_is_given_but_the_parts_of_the_page(address, path, cookie, name) -> None:
    assert ask(address, f"{path}static/js/textual.js", Cookie=cookie)[0] == 200
    status, _, said = ask(address, f"{path}static/{name}", Cookie=cookie)
    assert (status in (403, 404), "import" in said, "root:" in said) == (True, False, False)


def test_a_key_that_is_no_text_is_refused_like_any_other(address, path) -> None:
    # The server's fixture fails where a traceback was printed.
    assert ask(address, path, Cookie=f"limb_pathway_{urlsplit(address).port}=\xff\xfe")[0] == 403
    assert ask(address, "/?key=%ff%fe")[0] == 403


def test_a_page_of_another_origin_is_refused(address, path, cookie) -> None:
    for asked in (path, f"{path}ws"):
        assert ask(address, asked, Cookie=cookie, Origin="http://elsewhere.example")[0] == 403
    assert ask(address, f"{path}ws", Cookie=cookie)[0] == 403


def test_another_name_for_this_machine_is_refused(address, path, cookie) -> None:
    """A name that somebody else points at 127.0.0.1 (rebinding) is not ours."""
    assert ask(address, path, Cookie=cookie, Host="elsewhere.example")[0] == 403


def test_the_page_has_title_caution_and_no_other_host(address, path, cookie) -> None:
    status, headers, page = ask(address, path, Cookie=cookie)
    assert status == 200
    assert "<title>limb-pathway</title>" in page
    for clause in ("Planning aid", "the treating surgeon decides", "follow local protocol", "Not a medical device"):
        assert clause in page
    own = f"//{urlsplit(address).netloc}"
    assert set(re.findall(r"//[\w.:-]+", page)) == {own}
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]


def test_the_template_names_no_host() -> None:
    assert "//" not in PAGE.read_text(encoding="utf-8")


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.5", "::", "clinic.example"])
def test_other_hosts_than_this_machine_are_refused_in_a_sentence(host) -> None:
    pytest.importorskip("textual_serve")
    result = CliRunner().invoke(main, ["serve", "--host", host])
    assert result.exit_code == 2
    assert f"--host: found '{host}', expected this machine" in result.stderr


def test_a_port_in_use_is_said(address) -> None:
    result = CliRunner().invoke(main, ["serve", "--port", str(urlsplit(address).port)])
    assert result.exit_code == 2
    assert "in use" in result.stderr


def test_without_the_extra_it_says_what_to_install(monkeypatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "tui.web.server", None)
    result = CliRunner().invoke(main, ["serve"])
    assert result.exit_code == 2
    assert "limb-pathway[web]" in result.stderr


def test_what_is_served_is_a_registry_case_files_or_the_examples(tmp_path, monkeypatch) -> None:
    served = pytest.importorskip("tui.web.server", reason="textual-serve is not installed")
    commands: list[str] = []
    monkeypatch.delenv("LIMB_PATHWAY_REGISTRY", raising=False)
    monkeypatch.setattr(served.OwnServer, "serve", lambda server: commands.append(server.command))
    place, file = tmp_path / "clinic one.db", tmp_path / "a child.toml"
    assert CliRunner().invoke(main, ["registry", "import", "oak-12", "--registry", str(place)]).exit_code == 0
    file.write_text("", encoding="utf-8")
    for words in ([], ["--registry", str(place), "--by", "ward 3"], [str(file)]):
        assert CliRunner().invoke(main, ["serve", "--port", "0", *words]).exit_code == 0
    program = f"{shlex.quote(sys.executable)} -m pathway"
    assert commands[0] == program
    assert commands[1] == f"{program} --by 'ward 3' --registry '{place}'"
    assert commands[2] == f"{program} open -- '{file}'"


def test_a_registry_that_is_not_there_or_asks_for_its_key_is_not_served(tmp_path) -> None:
    pytest.importorskip("textual_serve")
    missing = CliRunner().invoke(main, ["serve", "--registry", str(tmp_path / "none.db")])
    asks = CliRunner().invoke(main, ["serve", "--registry", str(tmp_path / "none.db"), "--ask-key"])
    assert (missing.exit_code, asks.exit_code) == (2, 2)
    assert "none.db" in missing.stderr
    assert "--key-file" in asks.stderr


def test_the_end_of_an_idle_server_is_said(monkeypatch) -> None:
    served = pytest.importorskip("tui.web.server", reason="textual-serve is not installed")
    monkeypatch.setattr(served.OwnServer, "serve", lambda server: setattr(server, "ended_idle", True))
    result = CliRunner().invoke(main, ["serve", "--port", "0", "--idle", "5"])
    assert result.exit_code == 0
    assert "so do 5 minutes without a key or a click" in result.stderr
    assert "Ended: nobody has typed or clicked for 5 minutes." in result.stderr

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
from tui.widgets.frame import CAUTION

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
def cookie(address: str, key: str) -> str:
    status, headers, _ = ask(address, key)
    assert (status, headers["Location"]) == (302, "/")
    assert {"HttpOnly", "SameSite=Strict"} <= set(re.split("; *", headers["Set-Cookie"]))
    return headers["Set-Cookie"].split(";")[0]


@pytest.mark.parametrize("path", ["/", "/?key=guessed", "/ws", "/static/js/textual.js"])
def test_without_the_key_nothing_is_answered(address, path) -> None:
    status, _, said = ask(address, path)
    assert (status, "with its key" in said) == (403, True)


def test_a_key_that_is_no_text_is_refused_like_any_other(address) -> None:
    # The server's fixture fails where a traceback was printed.
    assert ask(address, "/", Cookie=f"limb_pathway_{urlsplit(address).port}=\xff\xfe")[0] == 403


def test_a_page_of_another_origin_is_refused(address, cookie) -> None:
    for path in ("/", "/ws"):
        assert ask(address, path, Cookie=cookie, Origin="http://elsewhere.example")[0] == 403


def test_another_name_for_this_machine_is_refused(address, cookie) -> None:
    """A name that somebody else points at 127.0.0.1 (rebinding) is not ours."""
    assert ask(address, "/", Cookie=cookie, Host="elsewhere.example")[0] == 403


def test_the_page_has_title_caution_and_no_other_host(address, cookie) -> None:
    status, headers, page = ask(address, "/", Cookie=cookie)
    assert status == 200
    assert "<title>limb-pathway</title>" in page
    for clause in CAUTION.split("; ")[1:]:
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
    program = f"{shlex.quote(sys.executable)} -m pathway.cli"
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

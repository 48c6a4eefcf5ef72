"""The web server holds more windows open than a school has: idle ones must not keep the next from being served."""

from __future__ import annotations

import http.client
import sys
import threading
from contextlib import ExitStack, closing
from types import SimpleNamespace

import waitress

from makerlab.management.commands.demo import Command as Demo
from makerlab.serving import OPTIONS, arguments

WINDOWS = 150  # five classes of thirty; waitress itself would stop at 100


def answer(environ, start_response):
    start_response("200 OK", [("Content-Length", "2"), ("Content-Type", "text/plain")])
    return [b"ok"]


def test_idle_windows_do_not_keep_the_next_one_waiting():
    server = waitress.create_server(answer, host="127.0.0.1", port=0, **OPTIONS)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    with ExitStack() as stack:
        for _number in range(WINDOWS):
            window = stack.enter_context(
                closing(http.client.HTTPConnection("127.0.0.1", server.effective_port, timeout=240))
            )
            window.request("GET", "/")
            assert window.getresponse().read() == b"ok"  # and the connection stays open
    server.close()
    thread.join(5)


def test_the_command_line_says_the_same_as_the_options():
    assert "--connection-limit=2000" in arguments()
    assert "--asyncore-use-poll" in arguments()
    assert len(arguments()) == len(OPTIONS)


def test_a_body_larger_than_any_file_the_site_takes_is_refused_before_it_comes(monkeypatch, settings):
    """413 (RFC 9110, 15.5.14) by the head alone, from the server of the laptop's command; of the container files:
    test_deployment_files.py."""
    monkeypatch.setitem(sys.modules, "makerlab.wsgi", SimpleNamespace(application=answer))
    server = Demo().server(0)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    largest = max(settings.UPLOAD_MAX_BYTES, settings.PREPARED_MAX_BYTES, settings.PACKAGE_MAX_BYTES)
    with closing(http.client.HTTPConnection("127.0.0.1", server.effective_port, timeout=240)) as sender:
        sender.putrequest("POST", "/parts/")
        sender.putheader("Content-Length", str(largest + 1024 * 1024))
        sender.endheaders()
        assert sender.getresponse().status == 413
    with closing(http.client.HTTPConnection("127.0.0.1", server.effective_port, timeout=240)) as sender:
        sender.request("POST", "/parts/", bytes(1024))
        assert sender.getresponse().status == 200
    assert largest < server.adj.max_request_body_size < largest + 1024 * 1024
    server.close()
    thread.join(5)

"""A server that is killed while records come in keeps what it acknowledged, and doubles nothing."""

import http.client
import json
import random
import signal
import socket
import subprocess
import sys
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta

from qa_engine.book import create_book, open_book
from qa_engine.book.verify import verify
from qa_engine.web.accounts import Accounts

KILLS = 3
READING = {"kind": "reading", "tank": "T1", "at": "2026-07-30T08:00:00Z", "outlet_tds": 12}


def test_what_a_killed_server_acknowledged_is_kept_and_sending_again_doubles_nothing(tmp_path):
    path, now = tmp_path / "house.book", datetime(2026, 7, 29, tzinfo=UTC)
    about = {"operator": "Quillmere", "time_zone": "UTC", "entered_at": now, "entered_by": "P-1"}
    with create_book(path, **about) as book:
        accounts = Accounts(book)
        accounts.accept(accounts.invite("P-1", "crew", now), "crew", "seven wet coaches", now)
        token = accounts.hand_out("P-1", "program", "add records", now + timedelta(days=36_500))
    drawn, sent, taken = random.Random(7), [], []
    for _ in range(KILLS):
        with Server(path, token) as server:
            until = time.monotonic() + 0.3 + drawn.random()
            while time.monotonic() < until:
                sent.append(f"K{len(sent) + 1}")
                if server.add(sent[-1]) == 201:
                    taken.append(sent[-1])
            server.kill_amid(f"K{len(sent) + 1}", drawn.random() * 0.03)
            sent.append(f"K{len(sent) + 1}")
    with open_book(path) as book:
        kept = set(book.frames(kinds=["reading"])["reading"]["record"])
        assert len(taken) > KILLS
        assert {f"R-{key}" for key in taken} <= kept
        assert verify(book) == []
    with Server(path, token) as server:
        assert {server.add(key) for key in sent} <= {200, 201}
    with open_book(path) as book:
        assert sorted(book.frames(kinds=["reading"])["reading"]["record"]) == sorted(
            f"R-{key}" for key in sent
        )
        assert verify(book) == []


class Server:
    """A server in a process of its own."""

    def __init__(self, path, token):
        with socket.create_server(("127.0.0.1", 0)) as found:
            self.port = found.getsockname()[1]
        self.token = token
        words = ("serve", str(path), "--port", str(self.port))
        self.process = subprocess.Popen(
            [sys.executable, "-c", "from qa_engine.cli import main; main()", *words],
            stderr=subprocess.DEVNULL,
        )

    def __enter__(self):
        for _ in range(300):
            try:
                socket.create_connection(("127.0.0.1", self.port)).close()
            except ConnectionRefusedError:
                time.sleep(0.1)
            else:
                return self
        raise TimeoutError("the server did not come up")

    def __exit__(self, *_):
        self.process.kill()
        self.process.wait()

    def add(self, key):
        """Send a record; return the status of the answer."""
        with closing(self._asked(key)) as asked:
            answer = asked.getresponse()
            answer.read()
            return answer.status

    def kill_amid(self, key, after):
        """Send a record and kill the server without waiting for the answer."""
        with closing(self._asked(key)):
            time.sleep(after)
            self.process.send_signal(signal.SIGKILL)

    def _asked(self, key):
        asked = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        headers = {
            "Authorization": f"Bearer {self.token}",
            "Content-Type": "application/json",
            "Idempotency-Key": key,
        }
        body = json.dumps(READING | {"record": f"R-{key}"})
        asked.request("POST", "/api/v1/records", body, headers)
        return asked

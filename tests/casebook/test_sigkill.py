"""Killed in the middle of saves, again and again: what was acknowledged is there, whole; nothing is there by halves."""

from __future__ import annotations

import hashlib
import io
import random
import sqlite3
import sys
import threading
import time
import uuid
from http.client import HTTPException
from pathlib import Path

import pytest
from PIL import Image

sys.path.insert(0, str(Path(__file__).parent))  # the tests are no package

from over_http import Visitor, opened

pytestmark = pytest.mark.only_on("sqlite")

ROUNDS = 6
WRITERS = 3


class Writer(threading.Thread):
    """Writes notes and pictures as fast as it can, and remembers which were acknowledged."""

    def __init__(self, visitor: Visitor, case: str, picture: bytes, again: list[tuple[str, str]]) -> None:
        super().__init__(daemon=True)
        self.visitor, self.case, self.picture, self.again = visitor, case, picture, again
        self.acknowledged: list[str] = []
        self.sent: list[tuple[str, str]] = []
        self.pictures = 0
        self.refused: list[int] = []

    def run(self) -> None:
        """Until the server is gone."""
        try:
            for text, id in self.again:  # a device sends again what it had no answer to
                self._note(text, id)
            while True:
                self._note(f"note {uuid.uuid4().hex}", str(uuid.uuid4()))
                if len(self.acknowledged) % 5 == 0:
                    name = f"{uuid.uuid4().hex}.jpg"
                    answer = self.visitor.post(f"{self.case}files/", {}, ("files", name, self.picture))
                    self.pictures += answer.status < 400
                    self.refused += [answer.status] if answer.status >= 400 else []
        except (OSError, HTTPException):
            return

    def _note(self, text: str, id: str) -> None:
        self.sent.append((text, id))
        answer = self.visitor.post(f"{self.case}note/", {"text": text, "id": id})
        if answer.status < 400:
            self.acknowledged.append(text)
        else:
            self.refused.append(answer.status)


def read(folder: Path) -> tuple[list[str], list[tuple[str, str]]]:
    """The notes and the files the database names; after checking that nothing in it is there by halves."""
    with sqlite3.connect(folder / "casebook.sqlite3") as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []
        for table in ("casebook_note", "casebook_attachment", "casebook_case", "casebook_look"):
            lonely = f"SELECT count(*) FROM {table} WHERE version NOT IN (SELECT act_id FROM casebook_change)"
            assert database.execute(lonely).fetchone() == (0,), f"a row of {table} without its record"
        empty = "SELECT count(*) FROM casebook_act WHERE id NOT IN (SELECT act_id FROM casebook_change)"
        assert database.execute(empty).fetchone() == (0,), "an act without what it did"
        recorded = "SELECT count(*) FROM casebook_change WHERE \"table\" = 'note' AND before IS NULL"
        notes = [text for (text,) in database.execute("SELECT text FROM casebook_note")]
        assert database.execute(recorded).fetchone() == (len(notes),)
        files = database.execute("SELECT file, sha256 FROM casebook_attachment").fetchall()
    database.close()
    return notes, files


def test_nothing_acknowledged_is_lost(tmp_path: Path) -> None:
    luck = random.Random(20261003)
    out = io.BytesIO()
    Image.new("RGB", (600, 400), "teal").save(out, "JPEG")
    acknowledged: list[str] = []
    unanswered: list[tuple[str, str]] = []
    pictures = 0
    for number in range(ROUNDS):
        with opened(tmp_path) as (process, visitor):
            if number == 0:
                visitor.get("/new/")
                made = visitor.post("/new/", {"which": "A4", "worries": "rubbing"})
                assert made.status == 302, made.text[-2000:]
            case = "/case/1/"
            assert visitor.get(case).status == 200
            writers = []
            for place in range(WRITERS):
                other = Visitor.__new__(Visitor)
                other.__dict__.update(visitor.__dict__ | {"cookies": dict(visitor.cookies)})
                writers.append(Writer(other, case, out.getvalue(), unanswered[place::WRITERS]))
            for writer in writers:
                writer.start()
            # Time enough to be well in the middle; when exactly is left to luck.
            while sum(len(writer.acknowledged) for writer in writers) < 10:
                assert process.poll() is None
                assert not [status for writer in writers for status in writer.refused]
                time.sleep(0.01)
            time.sleep(luck.uniform(0, 0.8))
            process.kill()  # SIGKILL
            process.wait()
            for writer in writers:
                writer.join(timeout=60)
                assert not writer.is_alive()
                assert writer.refused == []
                acknowledged += writer.acknowledged
                pictures += writer.pictures
        sent = [pair for writer in writers for pair in writer.sent]
        unanswered = [(text, id) for text, id in sent if text not in acknowledged]
        assert len(unanswered) <= WRITERS
        notes, files = read(tmp_path)
        assert set(acknowledged) <= set(notes), "an acknowledged note is lost"
        assert set(notes) <= set(acknowledged) | {text for text, _ in unanswered}
        assert len(notes) == len(set(notes)), "a note that was sent again is there twice"
        assert pictures <= len(files) <= pictures + WRITERS * (number + 1)
        for file, sha256 in files:
            content = (tmp_path / "files" / file).read_bytes()
            assert hashlib.sha256(content).hexdigest() == sha256, "a recorded picture is not whole on the disk"
    assert len(acknowledged) > ROUNDS * 10
    assert pictures > 0

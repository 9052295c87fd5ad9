"""The queue of files: messages appear whole, each is taken once, and a broken one stops nobody."""

from __future__ import annotations

import threading
from queue import Empty

import pytest
from kombu import Connection

from labsite import file_queue

MESSAGES = 200


@pytest.fixture
def channel(tmp_path):
    """Return a function that opens another channel to one folder."""
    file_queue.use()
    folders = {name: str(tmp_path) for name in ("data_folder_in", "data_folder_out", "control_folder")}
    connections = []

    def make():
        connection = Connection("filesystem://", transport_options=folders)
        connections.append(connection)
        return connection.channel()

    yield make
    for connection in connections:
        connection.release()


def test_filesystem_means_this_transport(channel):
    assert isinstance(channel(), file_queue.Channel)


def test_message_comes_back_once(channel, tmp_path):
    one = channel()
    one._put("wake", {"job": "ä"})
    assert one._get("wake") == {"job": "ä"}
    with pytest.raises(Empty):
        one._get("wake")
    assert list(tmp_path.iterdir()) == []


def test_queue_of_another_name_is_left_alone(channel):
    one = channel()
    one._put("other", 1)
    with pytest.raises(Empty):
        one._get("wake")
    assert one._get("other") == 1


@pytest.mark.parametrize("content", [b"", b'{"cut": "of'])
def test_broken_message_is_lost_and_the_next_is_read(channel, tmp_path, content):
    one = channel()
    (tmp_path / "0_first.wake.msg").write_bytes(content)
    one._put("wake", "second")
    assert one._get("wake") == "second"


def test_reader_beside_a_writer_reads_every_message_once(channel):
    writer, readers = channel(), [channel(), channel()]
    found, is_over = [], threading.Event()

    def read(reader):
        while True:
            was_over = is_over.is_set()
            try:
                found.append(reader._get("wake"))
            except Empty:
                if was_over:
                    return

    threads = [threading.Thread(target=read, args=(reader,)) for reader in readers]
    for thread in threads:
        thread.start()
    for number in range(MESSAGES):
        writer._put("wake", number)
    is_over.set()
    for thread in threads:
        thread.join(timeout=60)
    assert sorted(found) == list(range(MESSAGES))

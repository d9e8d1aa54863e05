"""Signed notes against the published example of the format's first implementation.

Source: the examples `ExampleSign` and `ExampleOpen` of Go's package golang.org/x/mod/sumdb/note
(sumdb/note/example_test.go): a key, a text and its signature.
"""

from service.proofs.notes import ED25519, is_by, read_key, read_note

KEY = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
NOTE = (
    "If you think cryptography is the answer to your problem,\n"
    "then you don't know what your problem is.\n"
    "\n"
    "— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngot"
    "pRZb6KE6RyyBwJnAM=\n"
)


def test_the_published_note_is_by_the_published_key() -> None:
    key, note = read_key(KEY), read_note(NOTE)
    assert (key.name, key.kind, key.id.hex()) == ("PeterNeumann", ED25519, "c74f20a3")
    assert is_by(note.signatures[0], note.text, key)
    assert str(note) == NOTE
    assert str(key) == KEY


def test_a_letter_more_and_it_is_not() -> None:
    key, note = read_key(KEY), read_note(NOTE)
    assert not is_by(note.signatures[0], note.text.replace("your", "our"), key)

"""The broker's texts; that mosquitto takes and keeps them is shown in test_mqtt."""

from pathlib import PurePosixPath

import pytest

from propstick.edges.mosquitto import mosquitto_config, mqtt_acl
from propstick.errors import InputError

FILES = {
    "password_file": PurePosixPath("/etc/p/passwords"),
    "acl_file": PurePosixPath("/etc/p/acl"),
    "data_folder": PurePosixPath("/var/lib/p"),
}


def test_each_user_may_what_it_must():
    """The watch everything of its site, a node its own readings, a person to read and to ask."""
    assert mqtt_acl("plot", ["shed"], people=["anna"]) == (
        "user propstick\ntopic readwrite propstick/plot/#\n\n"
        "user shed\ntopic write propstick/plot/readings/shed\n\n"
        "user anna\ntopic read propstick/plot/#\ntopic write propstick/plot/requests\n"
    )


@pytest.mark.parametrize("bad", ["#", "a\ntopic readwrite #", "a b", "+", ""])
def test_a_name_cannot_smuggle_a_rule_in(bad):
    """Names go into lines of a file of rules."""
    with pytest.raises(InputError):
        mqtt_acl("plot", [bad])
    with pytest.raises(InputError):
        mqtt_acl(bad, [])


def test_nobody_comes_in_without_a_password_and_plain_text_stays_on_loopback():
    """TLS only where a certificate is given."""
    plain = mosquitto_config(**FILES).splitlines()
    assert "allow_anonymous false" in plain
    assert [line for line in plain if line.startswith("listener")] == ["listener 1883 127.0.0.1"]
    with_tls = mosquitto_config(
        **FILES, tls_port=8883, certificate=PurePosixPath("s.crt"), key=PurePosixPath("s.key")
    )
    assert with_tls.endswith("listener 8883\ncertfile s.crt\nkeyfile s.key\n")

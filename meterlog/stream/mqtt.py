"""Tells items to an MQTT broker (MQTT 3.1.1, an OASIS standard)."""

from __future__ import annotations

import json
from types import TracebackType
from urllib.parse import unquote, urlsplit

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from meterlog.errors import AddressError, LinkAbsent
from meterlog.stream.items import Item

PORT, PORT_TLS = 1883, 8883
"""Registered with IANA for MQTT, and for MQTT over TLS."""
_WAIT_S = 10.0
"""Longest wait for the broker's answer, and for the last messages to leave, s (a guess)."""
_MOST_WAITING = 10_000
"""Messages kept while the broker is out of reach; later ones are dropped (a guess: some minutes of a fast meter)."""


class MqttBroker:
    """Publishes each item under `TOPIC/TYPE`, those of a channel under `TOPIC/TYPE/CHANNEL`.

    `TOPIC/state` holds, retained, `recording`, `ended` or, by the broker's own will, `lost`.
    """

    def __init__(self, address: str) -> None:
        """Connect to `mqtt://[USER:PASSWORD@]HOST[:PORT]/TOPIC`, or `mqtts:` for TLS.

        Raises:
            AddressError: it has no host or no topic.
            LinkAbsent: no broker answers there, or it refuses.
        """
        url = urlsplit(address)
        self.topic = unquote(url.path).strip("/")
        if not url.hostname or not self.topic or set(self.topic) & set("+#"):
            raise AddressError(f"'{address}' must be mqtt://HOST/TOPIC, for example mqtt://localhost/van")
        self._client = paho.Client(CallbackAPIVersion.VERSION2)
        self._client.max_queued_messages_set(_MOST_WAITING)
        if url.username:
            self._client.username_pw_set(unquote(url.username), unquote(url.password or ""))
        if url.scheme == "mqtts":
            self._client.tls_set()
        self._client.will_set(f"{self.topic}/state", "lost", qos=1, retain=True)
        port = url.port or (PORT_TLS if url.scheme == "mqtts" else PORT)
        try:
            self._client.connect(url.hostname, port)
        except OSError as error:
            raise LinkAbsent(f"no MQTT broker answers at {url.hostname}:{port}: {error}") from error
        self._client.loop_start()

    def __enter__(self) -> MqttBroker:
        self._client.publish(f"{self.topic}/state", "recording", qos=1, retain=True)
        return self

    def __exit__(self, _: type[BaseException] | None, __: BaseException | None, ___: TracebackType | None) -> None:
        self._client.publish(f"{self.topic}/state", "ended", qos=1, retain=True).wait_for_publish(_WAIT_S)
        self._client.disconnect()
        self._client.loop_stop()

    def tell(self, item: Item) -> None:
        """Publish one item; readings at most once, all else at least once."""
        kind, channel = item["type"], item.get("channel")
        topic = f"{self.topic}/{kind}" + ("" if channel is None else f"/{channel}")
        self._client.publish(topic, json.dumps(item, ensure_ascii=False), qos=0 if kind == "reading" else 1)

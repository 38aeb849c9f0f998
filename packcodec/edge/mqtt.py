"""Frames from an MQTT broker, none of which is lost: MQTT 5, quality of service 1, and a session
that the broker keeps. A message is acknowledged when its frame is stored, not before.

Workers that share the work subscribe to one shared subscription (MQTT 5.0, section 4.8.2), each
with a client name of its own, under which it takes up its session again after a crash.
"""

from dataclasses import dataclass, field
from threading import Event
from typing import Any

from packcodec.edge.capture import Reader
from packcodec.edge.heard import Heard
from packcodec.edge.parts import part
from packcodec.edge.sources import FIRST_WAIT_S, LONGEST_WAIT_S, LOOK_S, Outlet, now
from packcodec.errors import LogError, SourceError

# The broker keeps the session for good: 2**32 - 1 means that it does not expire.
FOR_EVER = 0xFFFF_FFFF
# How many frames the broker may send ahead of the acknowledgements.
AHEAD = 1000
AT_LEAST_ONCE = 1


@dataclass(frozen=True, slots=True)
class MqttSource:
    """A topic filter of a broker. `client` must be one no other client uses, and stay the same.

    `reader` None takes each message as a frame's bare bytes. `group` names a shared subscription.
    """

    host: str
    port: int
    topic: str
    client: str
    base: str
    reader: Reader | None = None
    group: str = ""
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    ready: Event = field(default_factory=Event, repr=False)

    def run(self, outlet: Outlet) -> None:
        """Take messages until told to stop. Raises SourceError for what is no address."""
        mqtt = part("paho.mqtt.client", "base")
        client = self._client(mqtt, outlet)
        place = f"mqtt://{self.host}:{self.port}"
        try:
            client.connect_async(
                self.host, self.port, clean_start=False, properties=_kept_session()
            )
        except ValueError as error:
            raise SourceError(str(error), place=place, remedy="write mqtt://host/topic") from None
        client.loop_start()
        while not outlet.stop.wait(LOOK_S):
            pass
        client.disconnect()
        client.loop_stop()

    def _client(self, mqtt: Any, outlet: Outlet) -> Any:
        client = mqtt.Client(
            mqtt.CallbackAPIVersion.VERSION2,
            client_id=self.client,
            protocol=mqtt.MQTTv5,
            manual_ack=True,
        )
        client.reconnect_delay_set(int(FIRST_WAIT_S), int(LONGEST_WAIT_S))
        if self.user is not None:
            client.username_pw_set(self.user, self.password)
        if self.tls:
            client.tls_set()
        topic = f"$share/{self.group}/{self.topic}" if self.group else self.topic
        place = f"mqtt://{self.host}:{self.port}/{self.topic}"

        def connected(client: Any, _data: Any, _flags: Any, reason: Any, _props: Any) -> None:
            if reason.is_failure:
                outlet.tell(f"{place}: refused: {reason}")
            else:
                client.subscribe(topic, qos=AT_LEAST_ONCE)

        def subscribed(_client: Any, _data: Any, _mid: Any, reasons: Any, _props: Any) -> None:
            refused = [reason for reason in reasons if reason.is_failure]
            if refused:
                outlet.tell(f"{place}: not subscribed: {refused[0]}")
            else:
                self.ready.set()
                outlet.tell(f"{place}: listening")

        def lost(_client: Any, _data: Any, _flags: Any, reason: Any, _props: Any) -> None:
            if not outlet.stop.is_set():
                outlet.tell(f"{place}: connection lost: {reason}; trying again")

        def came(client: Any, _data: Any, message: Any) -> None:
            def stored() -> None:
                client.ack(message.mid, message.qos)

            heard = self._heard(message.payload, f"{place} ({message.topic})", outlet)
            # What cannot be read would come again for ever; it has been told, and is let go.
            outlet.put([] if heard is None else [heard], stored)

        client.on_connect = connected
        client.on_connect_fail = lambda *_: outlet.tell(f"{place}: no answer; trying again")
        client.on_subscribe = subscribed
        client.on_disconnect = lost
        client.on_message = came
        return client

    def _heard(self, payload: bytes, place: str, outlet: Outlet) -> Heard | None:
        if self.reader is None:
            return Heard(payload, now(), self.base)
        try:
            return self.reader.read(payload.decode("utf-8", "replace"), place, now())
        except LogError as error:
            outlet.tell(str(error))
            return None


def _kept_session() -> Any:
    properties = part("paho.mqtt.properties", "base")
    kinds = part("paho.mqtt.packettypes", "base").PacketTypes
    kept = properties.Properties(kinds.CONNECT)
    kept.SessionExpiryInterval = FOR_EVER
    kept.ReceiveMaximum = AHEAD
    return kept

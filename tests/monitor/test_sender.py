"""From what waits to the frame that goes."""

from small_schema import EPOCH, codec_of

from packcodec.monitor.clock import Reading
from packcodec.monitor.counter import Counter
from packcodec.monitor.sender import Sender
from packcodec.radio import find_link


def test_what_goes_again_leaves_fresh_records_the_share_of_an_interval() -> None:
    link = find_link("lora-eu-868.1:sf=12")
    start = Reading(EPOCH, 0)
    sender = Sender(codec_of(), 1, link, None, counter=Counter(9), ledger=None, boots=1, now=start)
    frame = bytes(13)
    airtime_us = link.airtime(len(frame)).airtime_us
    assert airtime_us < sender.plan.share_us == sender.plan.room_us(0)
    wait_us = sender.plan.wait_us(airtime_us + sender.plan.share_us, 0)
    assert sender.again(7, frame, Reading(EPOCH, wait_us - 1)) is None
    send = sender.again(7, frame, Reading(EPOCH, wait_us))
    assert send is not None
    assert (send.frame, send.sequence, send.entries) == (frame, 7, ())

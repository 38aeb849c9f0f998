"""What a frame costs: time on air, rules as data, ledger arithmetic, energy, propagation, load."""

from packcodec.radio.airtime import Modulation as Modulation
from packcodec.radio.airtime import airtime as airtime
from packcodec.radio.airtime import largest_payload as largest_payload
from packcodec.radio.airtime import octets_to_next_step as octets_to_next_step
from packcodec.radio.describe import describe as describe
from packcodec.radio.lora import Lora as Lora
from packcodec.radio.modulations import Airtime as Airtime
from packcodec.radio.modulations import FixedRate as FixedRate
from packcodec.radio.modulations import Gfsk as Gfsk
from packcodec.radio.modulations import LrFhss as LrFhss
from packcodec.radio.modulations import Modem as Modem
from packcodec.radio.modulations import Serial as Serial
from packcodec.radio.rules import Rule as Rule
from packcodec.radio.rules import known_rules as known_rules

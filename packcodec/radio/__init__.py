"""What a frame costs: time on air, rules as data, ledger arithmetic, energy, propagation, load.

Names are fetched when first used, so that a monitor pays only for what it runs.
"""

from typing import TYPE_CHECKING

from packcodec.lazy import fetcher

# At once, for `airtime` the function would be hidden by `airtime` the module otherwise.
from packcodec.radio.airtime import Modulation as Modulation
from packcodec.radio.airtime import airtime as airtime
from packcodec.radio.airtime import largest_payload as largest_payload
from packcodec.radio.airtime import octets_to_next_step as octets_to_next_step

_NAMES = {
    "channel": "aloha_throughput frame_loss jitter_us most_stations",
    "chips": "Chip Supply find_chip known_chips transmit_current_ma",
    "energy": "BaseLoad DayEnergy Endurance LITHIUM_CAUTION Pack "
    "TransmissionEnergy day_energy endurance octets_per_joule steady_days transmission_energy",
    "ledger": "Ledger Permit Snapshot Use",
    "legal": "Finding check_legal largest_frame rules_for",
    "limits": "Limit PauseLimit SingleLimit Transmission WindowLimit",
    "link": "Link",
    "links": "OwnRadio adjusted find_link known_links read_user_rules",
    "lora": "Lora",
    "lorawan": "Exchange exchange",
    "modulations": "Airtime FixedRate Gfsk LrFhss Modem Serial",
    "power": "convert_dbm",
    "propagation": "LinkMargin Sensitivity egli_db free_space_db "
    "link_margin sensitivity two_ray_db weissberger_db woodland_db",
    "rules": "Rule known_rules",
    "scopes": "ledger_limits ledger_scopes",
    "sun": "Daylight daylight season",
    "wording": "describe",
}
_HOMES = {
    name: f"packcodec.radio.{home}" for home, names in _NAMES.items() for name in names.split()
}

if TYPE_CHECKING:
    from packcodec.radio.channel import aloha_throughput as aloha_throughput
    from packcodec.radio.channel import frame_loss as frame_loss
    from packcodec.radio.channel import jitter_us as jitter_us
    from packcodec.radio.channel import most_stations as most_stations
    from packcodec.radio.chips import Chip as Chip
    from packcodec.radio.chips import Supply as Supply
    from packcodec.radio.chips import find_chip as find_chip
    from packcodec.radio.chips import known_chips as known_chips
    from packcodec.radio.chips import transmit_current_ma as transmit_current_ma
    from packcodec.radio.energy import LITHIUM_CAUTION as LITHIUM_CAUTION
    from packcodec.radio.energy import BaseLoad as BaseLoad
    from packcodec.radio.energy import DayEnergy as DayEnergy
    from packcodec.radio.energy import Endurance as Endurance
    from packcodec.radio.energy import Pack as Pack
    from packcodec.radio.energy import TransmissionEnergy as TransmissionEnergy
    from packcodec.radio.energy import day_energy as day_energy
    from packcodec.radio.energy import endurance as endurance
    from packcodec.radio.energy import octets_per_joule as octets_per_joule
    from packcodec.radio.energy import steady_days as steady_days
    from packcodec.radio.energy import transmission_energy as transmission_energy
    from packcodec.radio.ledger import Ledger as Ledger
    from packcodec.radio.ledger import Permit as Permit
    from packcodec.radio.ledger import Snapshot as Snapshot
    from packcodec.radio.ledger import Use as Use
    from packcodec.radio.legal import Finding as Finding
    from packcodec.radio.legal import check_legal as check_legal
    from packcodec.radio.legal import largest_frame as largest_frame
    from packcodec.radio.legal import rules_for as rules_for
    from packcodec.radio.limits import Limit as Limit
    from packcodec.radio.limits import PauseLimit as PauseLimit
    from packcodec.radio.limits import SingleLimit as SingleLimit
    from packcodec.radio.limits import Transmission as Transmission
    from packcodec.radio.limits import WindowLimit as WindowLimit
    from packcodec.radio.link import Link as Link
    from packcodec.radio.links import OwnRadio as OwnRadio
    from packcodec.radio.links import adjusted as adjusted
    from packcodec.radio.links import find_link as find_link
    from packcodec.radio.links import known_links as known_links
    from packcodec.radio.links import read_user_rules as read_user_rules
    from packcodec.radio.lora import Lora as Lora
    from packcodec.radio.lorawan import Exchange as Exchange
    from packcodec.radio.lorawan import exchange as exchange
    from packcodec.radio.modulations import Airtime as Airtime
    from packcodec.radio.modulations import FixedRate as FixedRate
    from packcodec.radio.modulations import Gfsk as Gfsk
    from packcodec.radio.modulations import LrFhss as LrFhss
    from packcodec.radio.modulations import Modem as Modem
    from packcodec.radio.modulations import Serial as Serial
    from packcodec.radio.power import convert_dbm as convert_dbm
    from packcodec.radio.propagation import LinkMargin as LinkMargin
    from packcodec.radio.propagation import Sensitivity as Sensitivity
    from packcodec.radio.propagation import egli_db as egli_db
    from packcodec.radio.propagation import free_space_db as free_space_db
    from packcodec.radio.propagation import link_margin as link_margin
    from packcodec.radio.propagation import sensitivity as sensitivity
    from packcodec.radio.propagation import two_ray_db as two_ray_db
    from packcodec.radio.propagation import weissberger_db as weissberger_db
    from packcodec.radio.propagation import woodland_db as woodland_db
    from packcodec.radio.rules import Rule as Rule
    from packcodec.radio.rules import known_rules as known_rules
    from packcodec.radio.scopes import ledger_limits as ledger_limits
    from packcodec.radio.scopes import ledger_scopes as ledger_scopes
    from packcodec.radio.sun import Daylight as Daylight
    from packcodec.radio.sun import daylight as daylight
    from packcodec.radio.sun import season as season
    from packcodec.radio.wording import describe as describe

__getattr__ = fetcher(__name__, _HOMES)

"""Abbreviations of clocks, "CET" and the like, with what each may mean: one table for all that read or suggest them."""

from msgspec import Struct


class ClockName(Struct, frozen=True):
    """What an abbreviation stands for; names of several clocks have several of each.

    Args:
        places: offsets, each with a place that keeps it and can be suggested.
        offsets: further usual ones, without a place.
        also: those of other years or places: less usual, and right all the same where written.
    """

    places: tuple[tuple[str, str], ...] = ()
    offsets: tuple[str, ...] = ()
    also: tuple[str, ...] = ()

    @property
    def usual(self) -> tuple[str, ...]:
        """Return the usual offsets, each once, those with a place first."""
        return tuple(dict.fromkeys((*(offset for offset, _ in self.places), *self.offsets)))


CLOCK_NAMES = {
    "CET": ClockName(places=(("+01:00", "Europe/Vienna"),)),
    "CEST": ClockName(places=(("+02:00", "Europe/Vienna"),)),
    "MEZ": ClockName(places=(("+01:00", "Europe/Vienna"),)),
    "MESZ": ClockName(places=(("+02:00", "Europe/Vienna"),)),
    "WET": ClockName(places=(("+00:00", "Europe/Lisbon"),)),
    "WEST": ClockName(places=(("+01:00", "Europe/Lisbon"),), also=("+00:00",)),
    "EET": ClockName(places=(("+02:00", "Europe/Athens"),)),
    "EEST": ClockName(places=(("+03:00", "Europe/Athens"),)),
    "BST": ClockName(places=(("+01:00", "Europe/London"), ("+06:00", "Asia/Dhaka")), also=("+11:00", "-11:00")),
    "IST": ClockName(
        places=(("+05:30", "Asia/Kolkata"), ("+01:00", "Europe/Dublin"), ("+02:00", "Asia/Jerusalem")), also=("+03:00",)
    ),
    "MSK": ClockName(places=(("+03:00", "Europe/Moscow"),), also=("+04:00",)),
    "TRT": ClockName(places=(("+03:00", "Europe/Istanbul"),), also=("+02:00",)),
    "EST": ClockName(places=(("-05:00", "America/New_York"),), offsets=("+10:00",), also=("+11:00",)),
    "EDT": ClockName(places=(("-04:00", "America/New_York"),), offsets=("+11:00",)),
    "CST": ClockName(
        places=(("-06:00", "America/Chicago"), ("+08:00", "Asia/Shanghai")),
        offsets=("+09:30",),
        also=("-05:00", "+10:30"),
    ),
    "CDT": ClockName(places=(("-05:00", "America/Chicago"),), offsets=("+10:30",), also=("-04:00", "+09:00")),
    "MST": ClockName(places=(("-07:00", "America/Denver"),), offsets=("+08:00",), also=("+06:30", "-06:00")),
    "MDT": ClockName(places=(("-06:00", "America/Denver"),)),
    "PST": ClockName(places=(("-08:00", "America/Los_Angeles"),), offsets=("+08:00",), also=("-04:00",)),
    "PDT": ClockName(places=(("-07:00", "America/Los_Angeles"),)),
    "AKST": ClockName(places=(("-09:00", "America/Anchorage"),)),
    "AKDT": ClockName(places=(("-08:00", "America/Anchorage"),)),
    "HST": ClockName(places=(("-10:00", "Pacific/Honolulu"),), also=("-09:00",)),
    "AST": ClockName(places=(("-04:00", "America/Halifax"), ("+03:00", "Asia/Riyadh")), also=("+04:00",)),
    "ADT": ClockName(places=(("-03:00", "America/Halifax"),), offsets=("+04:00",), also=("+05:00",)),
    "NST": ClockName(places=(("-03:30", "America/St_Johns"),), also=("-11:00", "+06:30")),
    "NDT": ClockName(places=(("-02:30", "America/St_Johns"),)),
    "BRT": ClockName(places=(("-03:00", "America/Sao_Paulo"),), also=("-02:00",)),
    "ART": ClockName(places=(("-03:00", "America/Argentina/Buenos_Aires"),), also=("-02:00", "+02:00")),
    "NZST": ClockName(places=(("+12:00", "Pacific/Auckland"),)),
    "NZDT": ClockName(places=(("+13:00", "Pacific/Auckland"),)),
    "AEST": ClockName(places=(("+10:00", "Australia/Sydney"),)),
    "AEDT": ClockName(places=(("+11:00", "Australia/Sydney"),)),
    "ACST": ClockName(places=(("+09:30", "Australia/Adelaide"),)),
    "ACDT": ClockName(places=(("+10:30", "Australia/Adelaide"),)),
    "AWST": ClockName(places=(("+08:00", "Australia/Perth"),), also=("+09:00",)),
    "JST": ClockName(places=(("+09:00", "Asia/Tokyo"),), also=("+10:00",)),
    "KST": ClockName(places=(("+09:00", "Asia/Seoul"),), also=("+08:30",)),
    "SGT": ClockName(places=(("+08:00", "Asia/Singapore"),)),
    "HKT": ClockName(places=(("+08:00", "Asia/Hong_Kong"),)),
    "SAST": ClockName(places=(("+02:00", "Africa/Johannesburg"),), also=("+03:00",)),
    "CAT": ClockName(places=(("+02:00", "Africa/Maputo"),), also=("+03:00",)),
    "EAT": ClockName(places=(("+03:00", "Africa/Nairobi"),)),
    "WAT": ClockName(places=(("+01:00", "Africa/Lagos"),), also=("+02:00",)),
    "OEZ": ClockName(offsets=("+02:00",)),
    "OESZ": ClockName(offsets=("+03:00",)),
    "MET": ClockName(offsets=("+01:00",), also=("+02:00",)),
    "MEST": ClockName(offsets=("+02:00",)),
    "МСК": ClockName(offsets=("+03:00",), also=("+04:00",)),
    "GST": ClockName(offsets=("+04:00", "-02:00"), also=("+10:00",)),
    "SST": ClockName(offsets=("+08:00", "-11:00"), also=("+11:00",)),
    "WIB": ClockName(offsets=("+07:00",)),
    "WITA": ClockName(offsets=("+08:00",)),
    "WIT": ClockName(offsets=("+09:00",), also=("+07:00",)),
    "ICT": ClockName(offsets=("+07:00",)),
    "PHT": ClockName(offsets=("+08:00",)),
    "MYT": ClockName(offsets=("+08:00",)),
    "PKT": ClockName(offsets=("+05:00",), also=("+06:00",)),
    "NPT": ClockName(offsets=("+05:45",), also=("+05:30",)),
    "IRST": ClockName(offsets=("+03:30",), also=("+04:30",)),
    "CLT": ClockName(offsets=("-04:00",), also=("-03:00",)),
    "CLST": ClockName(offsets=("-03:00",)),
    "COT": ClockName(offsets=("-05:00",), also=("-04:00",)),
    "PET": ClockName(offsets=("-05:00",), also=("+12:00", "+11:00")),
    "ECT": ClockName(offsets=("-05:00",), also=("-04:00",)),
    "VET": ClockName(offsets=("-04:00",), also=("-04:30",)),
    "BOT": ClockName(offsets=("-04:00",)),
    "UYT": ClockName(offsets=("-03:00",), also=("-02:00",)),
    "PYT": ClockName(offsets=("-03:00", "-04:00"), also=("-03:00",)),
}

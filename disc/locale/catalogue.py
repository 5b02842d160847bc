"""A reader's language: translated sentences with their values, plurals, numbers, dates and money as written there.

    t = reader(Language.DE)
    t("Valid until {date}.", date=t.date("2026-05-01"))
    t.plural("{n} hole", "{n} holes", 3)

A sentence without a translation stays English, and a test says so. mark() names one that is translated later.
"""

from __future__ import annotations

import gettext
import io
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from enum import StrEnum
from functools import cache
from importlib import resources


class Language(StrEnum):
    """Languages of the papers: English, German, French."""

    EN = "en"
    DE = "de"
    FR = "fr"


# Decimal signs and dates of the trade's readers: British rather than American English (day first, A4 paper).
LOCALES = {Language.EN: "en_GB", Language.DE: "de_DE", Language.FR: "fr_FR"}


def mark(sentence: str) -> str:
    """The sentence itself; the name tells the catalogues that it is translated where it is shown."""
    return sentence


class Reader:
    """Sentences and values in one language."""

    def __init__(self, language: Language) -> None:
        self.language = language
        self._locale = LOCALES[language]
        self._catalogue = _catalogue(language)

    def __call__(self, sentence: str, **values: object) -> str:
        """The sentence in this language, its {names} filled in."""
        words = self._catalogue.gettext(sentence) if sentence else ""
        return words.format(**values) if values else words

    def plural(self, one: str, many: str, n: int, **values: object) -> str:
        """The form that n things take, {n} and other {names} filled in."""
        return self._catalogue.ngettext(one, many, n).format(n=self.number(n), **values)

    def number(self, value: float, digits: int = 0) -> str:
        """A number with this many decimals, its decimal sign as written here, without signs for thousands."""
        from babel.numbers import format_decimal

        # An exact rounding first: Babel alone rounds halves to even, as the rest of the house does with format().
        return format_decimal(Decimal(f"{value:.{digits}f}"), format=f"0.{'0' * digits}", locale=self._locale)

    def money(self, amount: Decimal, currency: str) -> str:
        """An amount with its currency: a code of ISO 4217 in its usual form, any other word after the number."""
        from babel.core import Locale
        from babel.numbers import format_currency, format_decimal

        if currency in Locale.parse(self._locale).currencies:
            return format_currency(amount, currency, locale=self._locale)
        return f"{format_decimal(amount, format='#,##0.00', locale=self._locale)} {currency}"

    def date(self, iso: str) -> str:
        """A day, "2026-05-01" or longer, as written here: 1 May 2026."""
        from babel.dates import format_date

        try:
            return format_date(date.fromisoformat(iso[:10]), format="long", locale=self._locale)
        except ValueError:
            return iso

    def listed(self, words: Sequence[str]) -> str:
        """Words as a list in a sentence: "a, b and c"."""
        from babel.lists import format_list

        return format_list(list(words), locale=self._locale) if words else ""


@cache
def reader(language: Language) -> Reader:
    """The reader of a language; made once."""
    return Reader(language)


@cache
def _catalogue(language: Language) -> gettext.NullTranslations:
    if language is Language.EN:
        return gettext.NullTranslations()
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po

    compiled = io.BytesIO()
    with resources.files("disc.locale").joinpath(language.value, "disc.po").open("rb") as file:
        write_mo(compiled, read_po(file, locale=language.value))
    compiled.seek(0)
    return gettext.GNUTranslations(compiled)  # type: ignore[arg-type]

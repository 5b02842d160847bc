"""The papers' languages: sentences, numbers, dates and money for the reader, from gettext catalogues.

Sentences stand in English in the code, marked by the call that translates them; de/ and fr/ hold their translations
(disc.po). Open catalogue.py first. `python -m disc.locale.update` brings the catalogues up to date with the code;
glossary.csv holds the trade's words in the three languages, and a test keeps the catalogues to it.
"""

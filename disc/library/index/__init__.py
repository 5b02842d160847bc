"""All printed tunes as flat arrays in the user's cache; `library_store.py` opens or builds them."""

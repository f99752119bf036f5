"""Money as people write it."""

SIGNS = {"AUD": "$", "CAD": "$", "NZD": "$", "USD": "$", "EUR": "€", "GBP": "£"}
"""Signs of ISO 4217 currency codes; other codes stand for themselves."""


def sign_of(currency: str) -> str:
    """Sign of a currency code, the code itself where it has none."""
    return SIGNS.get(currency, currency)


def name_of(currency: str) -> str:
    """Currency with its sign, for where it is named once: "AUD ($)"."""
    return f"{currency} ({SIGNS[currency]})" if currency in SIGNS else currency

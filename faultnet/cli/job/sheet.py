"""`faultnet job sheet`."""


def write_sheet(number: str, *, out: str, as_pdf: bool, db: str, shop: str) -> None: ...

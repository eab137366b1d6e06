"""The studio's stock: lists of materials, what is in hand and what is set aside."""

from core.stock.lists import read_stock_csv, starter_stock, write_stock_csv
from core.stock.store import Movement, Shortage, StockStore
from core.stock.use import use_stock

__all__ = [
    "Movement",
    "Shortage",
    "StockStore",
    "read_stock_csv",
    "starter_stock",
    "use_stock",
    "write_stock_csv",
]

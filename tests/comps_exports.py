"""Invented exports in six languages: column names of plain words, invented rows, and what every column means.

Four shapes: sales with a buyer's total and fees; own listings with numbers as long as barcodes; auction results; the
books of somebody who buys and sells. They follow no program's export.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from comps_export_names import OTHER_NAMES

ROWS = 60


@dataclass(frozen=True)
class Export:
    """One file: its header, its rows and the true field of every column ("" for none, "?" behind: may be empty)."""

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    means: tuple[str, ...]


@dataclass(frozen=True)
class Tongue:
    """How one language writes its cells, and its names for the columns of each shape, apart by semicolons."""

    day: str
    moment: str
    decimal: str
    thousands: str
    sign: str
    currency: str
    things: str
    size: str
    conditions: str
    yes_no: str
    results: str
    sales: str
    listings: str
    auctions: str
    books: str


TONGUES = {
    "en": Tongue(
        "%m/%d/%Y", "%m/%d/%Y %H:%M:%S", ".", ",", "£{}", "GBP",
        "Running shoe grey leather;Rain jacket blue;Wool coat;Desk lamp brass;Tea pot with lid;Rucksack green canvas",
        "size", "brand new;like new;very good;used;fair", "yes;no", "sold;unsold",
        "Order number;Sold at;Item title;Quantity;Item price;Currency;Postage paid;Order total;Selling fee;"
        "Net earnings;Buyer town",
        "Listing ID;Stock no.;Title;Brand;Category;Size;Condition;Price;Sold;Listed;Ended;Views",
        "Lot;Description;Starting price;Final price;Result;Opened;Closed;Barcode;Model number;Delivery;Remarks",
        "Item;Bought on;Purchase price;Listed on;Asking price;Sold on;Sale price;Shipping paid by buyer;Fees;Profit",
    ),
    "de": Tongue(
        "%d.%m.%Y", "%d.%m.%Y %H:%M", ",", ".", "{} €", "EUR",
        "Laufschuh grau Leder;Regenjacke blau;Wollmantel schwarz;Tischlampe aus Messing;Teekanne mit Deckel;Rucksack",
        "Größe", "neu;neuwertig;sehr gut;gebraucht;beschädigt", "ja;nein", "verkauft;nicht verkauft",
        "Bestellnummer;Verkauft am;Artikelbezeichnung;Anzahl;Einzelpreis;Währung;Versandkosten;Gesamtbetrag;"
        "Verkaufsgebühr;Auszahlung;Ort des Käufers",
        "Anzeigennummer;Lagernummer;Überschrift;Marke;Kategorie;Größe;Zustand;Preis;Verkauft;Eingestellt;Beendet;"
        "Aufrufe",
        "Los;Beschreibung;Startpreis;Endpreis;Ergebnis;Beginn;Ende;Strichcode;Modellnummer;Versand;Bemerkung",
        "Artikel;Gekauft am;Einkaufspreis;Eingestellt am;Angebotspreis;Verkauft am;Verkaufspreis;"
        "Versand vom Käufer bezahlt;Gebühren;Gewinn",
    ),
    "fr": Tongue(
        "%d/%m/%Y", "%d/%m/%Y à %H:%M", ",", "\u202f", "{} €", "EUR",
        "Chaussure de course grise;Veste de pluie bleue;Manteau en laine;Lampe de bureau en laiton;Théière;Sac à dos",
        "taille", "neuf;comme neuf;très bon état;occasion;abîmé", "oui;non", "vendu;invendu",
        "Numéro de commande;Date de vente;Titre de l'objet;Quantité;Prix unitaire;Devise;Frais de port;Montant total;"
        "Commission;Net versé;Ville de l'acheteur",
        "N° d'annonce;Référence stock;Intitulé;Marque;Catégorie;Taille;État;Prix;Vendu;Mise en ligne;Fin;Vues",
        "Lot;Désignation;Mise à prix;Prix final;Résultat;Ouverture;Clôture;Code-barres;Numéro de modèle;Livraison;"
        "Remarque",
        "Objet;Acheté le;Prix d'achat;Mis en vente le;Prix demandé;Vendu le;Prix de vente;Port payé par l'acheteur;"
        "Frais;Bénéfice",
    ),
    "es": Tongue(
        "%d/%m/%Y", "%d/%m/%Y %H:%M", ",", ".", "{} €", "EUR",
        "Zapatilla de correr gris;Chaqueta de lluvia azul;Abrigo de lana;Lámpara de mesa de latón;Tetera;Mochila verde",
        "talla", "nuevo;como nuevo;buen estado;usado;roto", "sí;no", "vendido;no vendido",
        "Número de pedido;Fecha de venta;Título del artículo;Cantidad;Precio;Moneda;Gastos de envío;Importe total;"
        "Comisión;Ingreso neto;Ciudad del comprador",
        "N.º de anuncio;Ref. almacén;Título;Marca;Categoría;Talla;Estado;Precio;Vendido;Publicado el;Finalizado el;"
        "Visitas",
        "Lote;Descripción;Precio de salida;Precio final;Resultado;Inicio;Cierre;Código de barras;Número de modelo;"
        "Envío;Observaciones",
        "Objeto;Comprado el;Precio de compra;Publicado el;Precio pedido;Vendido el;Precio de venta;"
        "Envío pagado por el comprador;Comisiones;Beneficio",
    ),
    "it": Tongue(
        "%d/%m/%Y", "%d/%m/%Y, %H:%M", ",", ".", "€ {}", "EUR",
        "Scarpa da corsa grigia;Giacca da pioggia blu;Cappotto di lana;Lampada da tavolo in ottone;Teiera;Zaino verde",
        "taglia", "nuovo;come nuovo;ottimo;usato;danneggiato", "sì;no", "venduto;invenduto",
        "Numero ordine;Data di vendita;Titolo dell'oggetto;Quantità;Prezzo;Valuta;Spese di spedizione;Importo totale;"
        "Commissione;Ricavo netto;Città dell'acquirente",
        "ID annuncio;Cod. magazzino;Titolo;Marca;Categoria;Taglia;Condizione;Prezzo;Venduto;Pubblicato;Terminato;"
        "Visite",
        "Lotto;Descrizione;Prezzo di partenza;Prezzo finale;Esito;Apertura;Chiusura;Codice a barre;Numero modello;"
        "Spedizione;Note",
        "Oggetto;Comprato il;Prezzo d'acquisto;Messo in vendita il;Prezzo richiesto;Venduto il;Prezzo di vendita;"
        "Spedizione pagata dall'acquirente;Commissioni;Guadagno",
    ),
    "nl": Tongue(
        "%d-%m-%Y", "%d-%m-%Y %H:%M", ",", ".", "€ {}", "EUR",
        "Hardloopschoen grijs leer;Regenjas blauw;Wollen jas;Bureaulamp van messing;Theepot met deksel;Rugzak groen",
        "maat", "nieuw;zo goed als nieuw;goed;gebruikt;beschadigd", "ja;nee", "verkocht;niet verkocht",
        "Bestelnummer;Verkocht op;Omschrijving;Aantal;Stukprijs;Valuta;Verzendkosten;Totaalbedrag;Verkoopkosten;"
        "Uitbetaling;Plaats van koper",
        "Advertentienummer;Voorraadnr.;Titel;Merk;Categorie;Maat;Staat;Prijs;Verkocht;Geplaatst op;Beëindigd op;"
        "Weergaven",
        "Kavel;Beschrijving;Startprijs;Eindprijs;Uitslag;Opening;Sluiting;Streepjescode;Modelnummer;Verzending;"
        "Opmerking",
        "Voorwerp;Gekocht op;Inkoopprijs;Geplaatst op;Vraagprijs;Verkocht op;Verkoopprijs;"
        "Verzending betaald door koper;Kosten;Winst",
    ),
}  # fmt: skip

# an order number is no number of a listing, but says as well that two rows are not one sale
SALES = ("listing?", "ended_on", "title", "", "sold_price", "currency", "shipping_charged", "", "", "", "")
LISTINGS = ("listing", "", "title", "brand", "category", "size", "condition", "asking_price|sold_price", "status",
            "listed_on", "ended_on", "")  # fmt: skip
AUCTIONS = ("listing", "title", "asking_price", "sold_price", "status", "listed_on", "ended_on", "gtin", "style_code",
            "shipping_charged", "note")  # fmt: skip
BOOKS = ("title", "", "", "listed_on", "asking_price", "ended_on", "sold_price", "shipping_charged", "", "")
BRANDS = ("Kestrel & Tarn", "Otterfield", "Bramblewick")  # invented


class _Writer:
    """Makes cells as one language writes them."""

    def __init__(self, tongue: Tongue) -> None:
        self.tongue, self.chance = tongue, random.Random(20260325)

    def money(self, amount: Decimal, *, signed: bool = False) -> str:
        marks = {ord(","): self.tongue.thousands, ord("."): self.tongue.decimal}
        text = f"{amount:,.2f}".translate(marks)
        return self.tongue.sign.format(text) if signed else text

    def amount(self, low: int, high: int) -> Decimal:
        return Decimal(self.chance.randrange(low * 20, high * 20)) / 20

    def moment(self) -> datetime:
        return datetime(2026, 1, 2, 8) + timedelta(minutes=self.chance.randrange(80 * 24 * 60))

    def pick(self, words: str) -> str:
        return self.chance.choice(words.split(";"))

    def digits(self, count: int) -> str:
        return str(self.chance.randrange(10 ** (count - 1), 10**count))

    def title(self) -> str:
        size = self.chance.randrange(36, 47)
        parts = (self.pick(self.tongue.things), f"{self.tongue.size} {size}", self.pick(self.tongue.conditions))
        return " ".join(parts)


def _sales(to: _Writer) -> list[str]:
    count = to.chance.choice((1, 1, 1, 2))
    price, postage = to.amount(8, 1500), to.amount(3, 12)
    fee = (price * Decimal("0.11")).quantize(Decimal("0.01"))
    sold = to.moment().strftime(to.tongue.moment)
    amounts = (price, postage, price * count + postage, fee, price * count + postage - fee)
    each, post, total, cost, net = map(to.money, amounts)
    town = to.chance.choice(("Nordhaven", "Ellerby", "Saint-Orme"))
    order = f"{to.digits(3)}-{to.digits(6)}"
    return [order, sold, to.title(), str(count), each, to.tongue.currency, post, total, cost, net, town]


def _listing(to: _Writer) -> list[str]:
    begun = to.moment()
    sold = to.chance.random() < 0.5
    ended = begun + timedelta(days=to.chance.randrange(1, 60))
    yes, no = to.tongue.yes_no.split(";")
    return [
        to.digits(13), f"A{to.digits(4)}", to.title(), to.chance.choice(BRANDS),
        to.tongue.things.split(";")[to.chance.randrange(3)].split()[0], str(to.chance.randrange(36, 47)),
        to.pick(to.tongue.conditions), to.money(to.amount(8, 1500)), yes if sold else no,
        begun.strftime(to.tongue.moment), ended.strftime(to.tongue.moment) if sold else "",
        str(to.chance.randrange(900)),
    ]  # fmt: skip


def _auction(to: _Writer) -> list[str]:
    begun = to.moment()
    sold = to.chance.random() < 0.7
    start = to.amount(1, 400)
    won = start + to.amount(0, 900)
    results = to.tongue.results.split(";")
    return [
        to.digits(6), to.title(), to.money(start, signed=True), to.money(won, signed=True) if sold else "",
        results[not sold], begun.strftime(to.tongue.day),
        (begun + timedelta(days=to.chance.choice((3, 5, 7)))).strftime(to.tongue.day), _barcode(to),
        f"{to.chance.choice('KTR')}T-{to.digits(4)}", to.money(to.amount(3, 12), signed=True),
        to.pick(f";;{to.tongue.conditions}"),
    ]  # fmt: skip


def _barcode(to: _Writer) -> str:
    """Return a GTIN-13 of the prefix that stands for no maker (952), with its check digit."""
    body = "952" + to.digits(9)
    return body + str(-sum(int(digit) * (1 + 2 * (at % 2)) for at, digit in enumerate(body)) % 10)


def _deal(to: _Writer) -> list[str]:
    bought = to.moment()
    begun = bought + timedelta(days=to.chance.randrange(1, 9))
    sold = begun + timedelta(days=to.chance.randrange(1, 60))
    paid, asked = to.amount(2, 200), to.amount(210, 1500)
    price, postage = (asked * Decimal("0.9")).quantize(Decimal("0.01")), to.amount(3, 12)
    fees = (price * Decimal("0.12")).quantize(Decimal("0.01"))
    first, second, third, fourth, fifth, profit = (
        to.money(one, signed=True) for one in (paid, asked, price, postage, fees, price + postage - fees - paid)
    )
    day = to.tongue.day
    return [
        to.title(), bought.strftime(day), first, begun.strftime(day), second, sold.strftime(day), third, fourth, fifth,
        profit,
    ]  # fmt: skip


def exports() -> list[Export]:
    """Return every shape in every language, under three sets of names."""
    shapes = {
        "sales": (_sales, SALES),
        "listings": (_listing, LISTINGS),
        "auctions": (_auction, AUCTIONS),
        "books": (_deal, BOOKS),
    }
    made = []
    for language, tongue in TONGUES.items():
        for at, (shape, (row, means)) in enumerate(shapes.items()):
            to = _Writer(tongue)
            rows = tuple(tuple(row(to)) for _ in range(ROWS))
            headers = (getattr(tongue, shape), *(names[language][at] for names in OTHER_NAMES))
            for number, header in enumerate(headers, 1):
                names = tuple(header.split(";"))
                assert len(names) == len(means)
                made.append(Export(f"{language} {shape} {number}", names, rows, means))
    return made

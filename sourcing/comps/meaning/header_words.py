"""What the words of a header mean, in English, German, French, Spanish, Italian and Dutch.

The table holds plain dictionary words by meaning. It knows no program and no file: a field is told by the meanings that
meet in one column name ("Verkaufspreis" holds sold and price), whatever their order, number or compound.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache

_WORDS = {
    "price": "price prices cost costs amount value preis betrag kosten prix montant cout precio importe coste monto "
    "prezzo importo costo prijs bedrag fee charge charges pr",
    "sold": "sold sale sales selling paid pay realized realised achieved hammer verkauf "
    "verkauft verkaufs erlos erzielt "
    "bezahlt vendu vendus vente ventes paye vendido vendida venta pagado venduto venduta vendita pagato verkocht "
    "verkoop betaald",
    "final": "final closing ende schluss end endpreis finale",
    "asked": "asked asking ask list listed listing offer offered requested original orig angebot angebots forderung "
    "angeboten wunsch gefordert demande demandee affiche offre pedido pedida solicitado oferta richiesto richiesta "
    "offerta vraag gevraagd aanbod",
    "start": "start started starting begin begins began opening opened posted created published online eingestellt "
    "beginn begonnen erstellt veroffentlicht debut ouverture publie publication cree inicio apertura publicado "
    "publicacion creado inizio pubblicato pubblicazione creato geplaatst aangemaakt aanvang",
    "end": "end ended ends closed closing finished ending beendet ende endete schluss fin cloture termine termino "
    "finalizado cierre fine chiusura terminato einde beeindigd gesloten",
    "shipping": "shipping ship postage delivery freight post versand porto lieferung fracht zustellung livraison port "
    "expedition envio envios entrega spedizione consegna verzending verzend bezorging porti",
    "total": "total sum gross overall gesamt summe insgesamt brutto totaux totale totaal",
    "date": "date day dates datum tag jour fecha dia data giorno dag when on am time le",
    "barcode": "gtin ean upc barcode isbn barcodes strichcode codebarres codigobarras streepjescode jan",
    "bar": "bar barras barres barre strich streepjes",
    "style": "style model modell modele modelo modello article artikel articolo articulo stil part mpn reference "
    "referenz referencia riferimento referentie ref sku pattern",
    "number": "number no num nr nummer numero code id identifier key ref kennung codigo codice kode",
    "brand": "brand brands make maker manufacturer marke hersteller fabrikat marque fabricant marca fabricante "
    "produttore merk fabrikant label",
    "category": "category categories cat type kind department group genre class kategorie art typ warengruppe gruppe "
    "rubrik categorie genre rayon categoria tipo grupo rubro categoria gruppo soort groep",
    "title": "title heading headline titel titre titulo titolo",
    "name": "name description designation item product bezeichnung beschreibung artikel produkt ware gegenstand nom "
    "designation libelle produit objet nombre descripcion producto articulo nome descrizione prodotto articolo "
    "oggetto naam omschrijving product voorwerp desc address car what adresse auto",
    "size": "size sizes grosse groesse taille pointure talla tamano taglia misura maat variant variante",
    "condition": "condition cond zustand state etat estado stato condizione condizioni staat conditie toestand "
    "erhaltung condicion",
    "status": "status outcome result state ausgang ergebnis stand statut etat estado stato resultat resultado esito "
    "uitkomst situation",
    "channel": "channel market marketplace platform site venue source where kanal markt plattform marktplatz quelle "
    "canal marche plateforme mercado plataforma canale mercato piattaforma kanaal platform",
    "listing": "listing auction offer lot ad advert anzeige auktion angebot inserat annonce enchere anuncio subasta "
    "annuncio inserzione asta advertentie veiling transaction order bestellung commande pedido ordine",
    "currency": "currency curr wahrung waehrung devise monnaie moneda divisa valuta munt",
    "note": "note notes remark remarks comment comments notiz bemerkung anmerkung kommentar remarque commentaire nota "
    "notas observaciones comentario osservazioni commento opmerking opmerkingen notitie",
    "other": "percent pct share rate ratio count qty quantity stuck anzahl quantite cantidad quantita aantal per sqft "
    "rating feedback seller bid bids buyer kaufer verkaufer weight carat age year month mileage size_of tax",
}

# meanings that must all be there -> how surely the name alone says the field
_FIELDS: dict[str, tuple[tuple[str, float], ...]] = {
    "gtin": (("barcode", 0.95), ("bar number", 0.95)),
    "style_code": (("style number", 0.92), ("style", 0.6)),
    "brand": (("brand", 0.93),),
    "category": (("category", 0.85),),
    "title": (("title", 0.95), ("name", 0.7)),
    "size": (("size", 0.92),),
    "condition": (("condition", 0.85),),
    "channel": (("channel", 0.85),),
    "asking_price": (("asked price", 0.93), ("start price", 0.7), ("price", 0.5)),
    "sold_price": (("sold price", 0.95), ("final price", 0.85), ("total price", 0.6), ("sold", 0.5), ("price", 0.55)),
    "shipping_charged": (("shipping price", 0.95), ("shipping", 0.85)),
    "listed_on": (("asked date", 0.93), ("start date", 0.93), ("start", 0.75), ("date", 0.4)),
    "ended_on": (("sold date", 0.95), ("end date", 0.93), ("end", 0.75), ("sold", 0.5), ("date", 0.5)),
    "status": (("status", 0.8), ("sold", 0.6)),
    "listing": (("listing number", 0.95), ("number", 0.55), ("listing", 0.5)),
    "currency": (("currency", 0.95),),
    "note": (("note", 0.93),),
}
_AGAINST = {
    "sold_price": {"shipping", "asked", "start", "date", "number", "note"},
    "asking_price": {"shipping", "sold", "date", "number", "note"},
    "shipping_charged": {"date", "number", "note"},
    "title": {"number", "price", "date", "note", "brand", "category", "size"},
    "style_code": {"listing", "price", "date", "name_only"},
    "listing": {"barcode", "style", "price", "bar"},
    "listed_on": {"sold", "end", "price"},
    "ended_on": {"start", "price", "asked"},
    "status": {"price", "date", "number"},
    "size": {"price"},
    "currency": {"price_only"},
}
_LINKS = ("", "s", "es", "n", "en", "er", "e")


def fold(text: str) -> str:
    """Return a text without accents, case and outer spaces; "ß" becomes "ss"."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    return " ".join("".join(c for c in plain if not unicodedata.combining(c)).split())


@cache
def _meanings() -> dict[str, frozenset[str]]:
    found: dict[str, set[str]] = {}
    for meaning, words in _WORDS.items():
        for word in words.split():
            found.setdefault(word, set()).add(meaning)
    return {word: frozenset(meanings) for word, meanings in found.items()}


def name_words(name: str) -> list[str]:
    """Return the folded words of a column name: "soldPrice_USD" holds sold, price and usd."""
    apart = re.sub(r"(?<=[a-zà-ÿ])(?=[A-ZÀ-Þ])", " ", name)
    return re.findall(r"[^\W\d_]+", fold(apart))


@cache
def _of_word(word: str) -> frozenset[str]:
    known = _meanings()
    for ending in ("", "s", "es", "en", "n", "e", "er", "i", "x"):
        stem = word.removesuffix(ending) if ending else word
        if stem in known and (len(stem) > 2 or not ending):
            return known[stem]
    for cut in range(3, len(word) - 1):  # compounds of two words
        left, right = word[:cut], word[cut:]
        if right not in known or len(right) < 2:
            continue
        for link in _LINKS:
            stem = left.removesuffix(link) if link else left
            if stem in known and len(stem) > 2:
                return known[stem] | known[right]
    return frozenset()


@cache
def meanings(name: str) -> frozenset[str]:
    """Return all that the words of a column name may mean."""
    found: set[str] = set()
    for word in name_words(name):
        found |= _of_word(word)
    return frozenset(found)


@cache
def header_scores(name: str) -> dict[str, float]:
    """Return the fields a column name may stand for, each with how surely it does, 0 to 1."""
    said = meanings(name)
    unknown = sum(not _of_word(word) for word in name_words(name))
    scores: dict[str, float] = {}
    for field, ways in _FIELDS.items():
        best = max((sure for way, sure in ways if said.issuperset(way.split())), default=0.0)
        if not best:
            continue
        best *= 0.55 ** len(said & _AGAINST.get(field, set()) - _said_by(field))
        best *= 0.9**unknown * (0.35 if "other" in said and field not in ("note",) else 1.0)
        scores[field] = best
    return scores


def _said_by(field: str) -> set[str]:
    """A word of two meanings does not speak against the field it may stand for."""
    return {"asked"} if field == "listing" else set()

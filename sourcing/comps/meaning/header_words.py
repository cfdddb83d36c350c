"""What the words of a header mean, in English, German, French, Spanish, Italian and Dutch.

The table holds plain dictionary words by meaning. It knows no program and no file: a field is told by the meanings that
meet in one column name ("Verkaufspreis" holds sold and price), whatever their order, number or compound.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache

_WORDS = {
    "price": "price prices preis prix precio prezzo prijs pr",
    "amount": "amount value betrag montant importe monto importo bedrag wert valeur valor valore waarde",
    "cost": "cost costs fee fees charge charges commission kosten gebuhr gebuhren provision cout frais coste gasto "
    "gastos comision comisiones costo costi spesa spese commissione commissioni commissie tarief",
    "net": "net profit earnings payout proceeds margin gain tax netto gewinn auszahlung verdienst steuer mwst "
    "benefice gagne verse taxe tva beneficio ganancia ingreso neto impuesto iva guadagno ricavo profitto imposta "
    "winst uitbetaling opbrengst belasting btw",
    "bought": "bought purchase purchased acquired einkauf einkaufs gekauft erworben achat achete acquis compra "
    "comprado adquirido acquisto comprato acquistato inkoop gekocht aankoop",
    "sold": "obtained obtenu realizzato realizado ottenuto obtenido gerealiseerd erzielter sold sale sales selling "
    "paid pay realized realised achieved hammer verkauf verkauft verkaufs erlos erzielt bezahlt vendu vendus vente "
    "ventes paye vendido vendida venta pagado venduto venduta vendita pagato verkocht verkoop betaald",
    "final": "remate adjuge adjudication aggiudicazione zuschlag hamer gavel final closing ende schluss end "
    "endpreis finale",
    "asked": "chiesto listino listen vorstellung catalogo katalog catalogus inzet asked asking ask list listed listing "
    "offer offered requested angebot angebots forderung angeboten wunsch gefordert demande demandee affiche offre "
    "pedido pedida solicitado oferta richiesto richiesta offerta vraag gevraagd aanbod",
    "first": "original originally orig initial first former ursprunglich ursprungs anfangs origine initiale primero "
    "originale iniziale primo oorspronkelijk oorspronkelijke eerste",
    "start": "start started starting begin begins began opening opened posted created published online eingestellt "
    "beginn begonnen erstellt veroffentlicht debut depart ouverture publie publication cree ligne inicio salida "
    "apertura publicado publicacion creado inizio partenza pubblicato pubblicazione creato geplaatst aangemaakt "
    "aanvang",
    "end": "end ended ends closed closing finished ending beendet ende endete schluss fin cloture termine termino "
    "finalizado cierre fine chiusura terminato einde beeindigd gesloten sluiting",
    "shipping": "carriage envoi transport transporte trasporto "
    "liefer zustell bezorg portes shipment shipping ship postage delivery freight post versand porto "
    "lieferung fracht zustellung livraison port expedition envio envios entrega spedizione consegna verzending "
    "verzend bezorging porti",
    "total": "total sum gross overall gesamt summe insgesamt brutto totaux totale totaal",
    "date": "since seit depuis desde sinds date day dates datum tag jour fecha dia data giorno dag when on at am um "
    "time le op",
    "barcode": "gtin ean upc barcode isbn barcodes strichcode codebarres codigobarras streepjescode jan",
    "bar": "bar barras barres barre strich streepjes",
    "style": "style stil part mpn reference referenz referencia riferimento referentie ref sku pattern",
    "model": "model modell modele modelo modello article artikel articolo articulo",
    "own": "internal intern interne interna interno propio propre proprio eigen eigene eigenen "
    "stock inventory warehouse shelf bin own lager bestand regal magasin almacen inventario magazzino "
    "scaffale voorraad magazijn",
    "number": "reference referenz referencia riferimento referentie number no num nr nummer numero code id "
    "identifier key ref kennung codigo codice kode",
    "brand": "brand brands make maker manufacturer marke hersteller fabrikat marque fabricant marca fabricante "
    "produttore merk fabrikant label",
    "category": "rubrique rubriek rubrica category categories cat type kind department group genre class kategorie "
    "art typ warengruppe gruppe rubrik categorie rayon categoria tipo grupo rubro gruppo soort groep",
    "title": "title heading headline titel titre titulo titolo intitule uberschrift kop",
    "name": "name description designation item product bezeichnung beschreibung artikel produkt ware gegenstand nom "
    "libelle produit objet objeto nombre descripcion producto articulo nome descrizione prodotto articolo oggetto "
    "naam beschrijving omschrijving voorwerp desc address car what adresse auto",
    "size": "sz size sizes grosse groesse taille pointure talla tamano taglia misura maat variant variante",
    "condition": "condition cond zustand state etat estado stato condizione condizioni staat conditie toestand "
    "erhaltung condicion",
    "status": "status outcome result state ausgang ergebnis stand statut etat estado stato resultat resultado esito "
    "uitkomst uitslag situation",
    "channel": "channel market marketplace platform site venue source where kanal markt plattform marktplatz quelle "
    "canal marche plateforme mercado plataforma canale mercato piattaforma kanaal",
    "listing": "transactie transazione transaccion transaktion auftrag auftrags listing auction offer ad advert "
    "anzeige auktion angebot inserat annonce enchere anuncio subasta annuncio inserzione asta advertentie veiling "
    "transaction order bestellung bestel commande pedido ordine",
    "lot": "lot los lote lotto kavel",
    "currency": "currency curr wahrung waehrung devise monnaie moneda divisa valuta munt",
    "note": "observations "
    "note notes remark remarks comment comments notiz bemerkung anmerkung kommentar remarque commentaire "
    "nota notas observaciones comentario osservazioni commento opmerking opmerkingen notitie",
    "person": "buyer seller customer client kaufer verkaufer kunde acheteur vendeur comprador vendedor cliente "
    "acquirente venditore koper verkoper klant",
    "count": "units pieces pcs pezzi unidades unites piezas stuks quantity qty count anzahl menge stuckzahl "
    "quantite cantidad quantita aantal",
    "unit": "unit each single einzel stuck unitaire unitario unitaria stuk",
    "measure": "area length width height depth surface flache breite hohe lange largeur hauteur superficie ancho "
    "alto altezza larghezza oppervlakte breedte hoogte",
    "other": "percent pct share rate ratio per sqft discount rabatt remise descuento sconto korting rating feedback "
    "bid bids weight carat age year month mileage size_of views visits",
}
_PHRASES = {  # words that together mean something else than each of them
    "for sale": "asked start",
    "on sale": "asked start",
    "zum verkauf": "asked start",
    "en vente": "asked start",
    "en venta": "asked start",
    "in vendita": "asked start",
    "te koop": "asked start",
    "p p": "shipping",
    "mise a prix": "asked start price",
}
_FILLERS = frozenset(
    word
    for line in (
        "a an of the to by in is was s de du des d l la les une un der die das den dem von vom zum fur mit",
        "del al en por los las il el di della dello dell dal dalla per van het een door",
    )
    for word in line.split()
)

# meanings that must all be there -> how surely the name alone says the field
_FIELDS: dict[str, tuple[tuple[str, float], ...]] = {
    "gtin": (("barcode", 0.95), ("bar number", 0.95)),
    "style_code": (
        ("style number", 0.92),
        ("model number", 0.92),
        ("category number", 0.6),
        ("brand number", 0.85),
        ("model", 0.6),
        ("style", 0.55),
    ),
    "brand": (("brand", 0.93),),
    "category": (("category", 0.85),),
    "title": (("title", 0.95), ("name", 0.7), ("model", 0.45)),
    "size": (("size", 0.92),),
    "condition": (("condition", 0.85),),
    "channel": (("channel", 0.85),),
    "asking_price": (
        ("asked price", 0.93),
        ("asked amount", 0.85),
        ("start price", 0.75),
        ("first price", 0.6),
        ("price", 0.5),
        ("asked", 0.3),
    ),
    "sold_price": (
        ("sold price", 0.95),
        ("sold amount", 0.85),
        ("final price", 0.85),
        ("unit price", 0.6),
        ("price", 0.55),
        ("sold", 0.5),
        ("total price", 0.5),
        ("total amount", 0.45),
        ("amount", 0.42),
        ("total", 0.4),
    ),
    "shipping_charged": (("shipping price", 0.95), ("shipping cost", 0.95), ("shipping", 0.85)),
    "listed_on": (("asked date", 0.93), ("start date", 0.93), ("start", 0.75), ("date", 0.4)),
    "ended_on": (("sold date", 0.95), ("end date", 0.93), ("end", 0.75), ("sold", 0.5), ("date", 0.5)),
    "status": (("status", 0.8), ("sold", 0.6)),
    "listing": (("listing number", 0.95), ("lot number", 0.9), ("lot", 0.5), ("number", 0.55), ("listing", 0.5)),
    "currency": (("currency", 0.95),),
    "note": (("note", 0.93),),
}
_NO_PRICE = {"shipping", "date", "number", "note", "cost", "net", "bought", "person"}
_AGAINST = {
    "sold_price": _NO_PRICE | {"asked", "start", "first"},
    "asking_price": _NO_PRICE | {"sold", "final", "total"},
    "shipping_charged": {"date", "number", "note", "net", "bought"},
    "title": {"number", "price", "date", "note", "brand", "category", "size", "person", "count", "shipping"},
    "style_code": {"listing", "price", "date", "own", "person"},
    "brand": {"person", "number", "style", "model"},
    "category": {"person", "sold", "shipping", "number"},
    "condition": {"person", "sold", "shipping", "category"},
    "channel": {"person"},
    "listing": {"barcode", "style", "model", "price", "bar", "size", "own", "person", "date", "measure"},
    "listed_on": {"sold", "end", "price", "bought"},
    "ended_on": {"start", "price", "asked", "bought"},
    "status": {"price", "date", "number", "category", "cost", "person"},
    "size": {"price", "measure", "lot"},
}
_ELSE = {"other", "count", "person", "own"}  # whatever else is said, it is seldom a field
_NOT_PAID = {"cost", "net", "bought"}  # money that is neither asked nor paid for the item
_HEADS = ("preis", "prijs", "datum", "nummer", "kosten", "betrag", "bedrag", "maat", "grosse")  # of any compound
_LINKS = ("", "s", "es", "n", "en", "er", "e")


def fold(text: str) -> str:
    """Return a text without accents, case and outer spaces; "ß" becomes "ss"."""
    if text.isascii():
        return " ".join(text.lower().split())
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
    for head in _HEADS:
        if word.endswith(head):
            return known[head]
    return frozenset()


@cache
def meanings(name: str) -> frozenset[str]:
    """Return all that the words of a column name may mean."""
    found: set[str] = set()
    apart = name_words(name)
    for phrase, said in _PHRASES.items():
        words = phrase.split()
        at = next((at for at in range(len(apart)) if apart[at : at + len(words)] == words), None)
        if at is not None:
            found |= set(said.split())
            del apart[at : at + len(words)]
    for word in apart:
        found |= _of_word(word)
    return frozenset(found)


@cache
def against(name: str, field: str) -> int:
    """Return how many meanings of a column name speak against a field."""
    return len(meanings(name) & _AGAINST.get(field, set()))


@cache
def header_scores(name: str) -> dict[str, float]:
    """Return the fields a column name may stand for, each with how surely it does, 0 to 1."""
    said = meanings(name)
    words = [word for word in name_words(name) if word not in _FILLERS or _of_word(word)]
    unknown = sum(not _of_word(word) for word in words)
    scores: dict[str, float] = {}
    for field, ways in _FIELDS.items():
        best = max((sure for way, sure in ways if said.issuperset(way.split())), default=0.0)
        if not best:
            continue
        if len(words) == 1:  # nothing else is said
            best = 1 - 0.7 * (1 - best)
        best *= 0.55 ** against(name, field)
        best *= 0.9**unknown
        best *= 0.35 if said & _ELSE and field != "note" else 1.0
        best *= 0.5 if said & _NOT_PAID and field in ("asking_price", "sold_price") else 1.0
        scores[field] = best
    return scores

"""Further names for the columns of the invented exports: sales, listings, auctions and books in each language."""

from __future__ import annotations

OTHER_NAMES: tuple[dict[str, tuple[str, ...]], ...] = (
    {
        "en": (
            "Transaction no.;Date of sale;Product name;Units;Unit price;Currency code;Shipping charged;"
            "Amount paid in total;Commission;Payout;City",
            "Ad number;Own reference;Headline;Maker;Department;Size (EU);State;Asking price;Was it sold?;"
            "Start date;End date;Favourites",
            "Auction no.;Item description;Opening price;Hammer price;Outcome;Start;Finish;EAN;Part number;"
            "Freight;Comments",
            "Product;Date bought;Cost;Date listed;List price;Date sold;Selling price;Postage charged;Fees paid;Margin",
        ),
        "de": (
            "Auftragsnummer;Kaufdatum;Titel;Menge;Preis pro Stück;Währung;Porto;Summe;Provision;Nettoerlös;Wohnort",
            "Inserat-Nr.;Interne Nummer;Titel der Anzeige;Hersteller;Rubrik;Gr.;Erhaltung;Wunschpreis;Verkauft?;"
            "Startdatum;Enddatum;Merker",
            "Auktionsnr.;Bezeichnung;Anfangspreis;Zuschlag;Status;Auktionsbeginn;Auktionsende;GTIN;Artikelnr.;"
            "Lieferkosten;Kommentar",
            "Gegenstand;Kaufdatum;Kaufpreis;Angeboten seit;Preisvorstellung;Verkaufsdatum;Erlös;Porto (Käufer);"
            "Kosten;Überschuss",
        ),
        "fr": (
            "N° de transaction;Vendu le;Désignation;Qté;Prix de l'article;Monnaie;Livraison payée;Total payé;"
            "Frais de vente;Montant reçu;Ville",
            "Numéro d'annonce;Code interne;Titre;Fabricant;Rubrique;Pointure;Condition;Prix affiché;"
            "Vendu (oui/non);Date de début;Date de fin;Favoris",
            "N° de lot;Libellé;Prix de départ;Prix adjugé;Issue;Date d'ouverture;Date de clôture;EAN;"
            "Référence fabricant;Port;Commentaire",
            "Article;Date d'achat;Coût d'achat;Date de mise en vente;Prix affiché;Date de vente;Prix obtenu;"
            "Frais de port facturés;Frais;Marge",
        ),
        "es": (
            "N.º de transacción;Vendido el;Nombre del producto;Unidades;Precio unitario;Divisa;Envío cobrado;"
            "Total pagado;Tarifa;Neto;Localidad",
            "Número del anuncio;Código propio;Titular;Fabricante;Tipo;Número (talla);Condición;Precio pedido;"
            "¿Vendido?;Fecha de inicio;Fecha de fin;Favoritos",
            "Subasta n.º;Artículo;Precio inicial;Precio de remate;Estado;Fecha de apertura;Fecha de cierre;EAN;"
            "Referencia del fabricante;Portes;Nota",
            "Artículo;Fecha de compra;Coste;Fecha de publicación;Precio de oferta;Fecha de venta;"
            "Importe de la venta;Portes cobrados;Gastos;Margen",
        ),
        "it": (
            "Transazione n.;Venduto il;Nome prodotto;Pezzi;Prezzo unitario;Moneta;Spedizione addebitata;"
            "Totale pagato;Costi di vendita;Netto;Comune",
            "Numero annuncio;Codice interno;Titolo annuncio;Produttore;Tipo;Misura;Stato;Prezzo richiesto;"
            "Venduto?;Data inizio;Data fine;Preferiti",
            "Asta n.;Articolo;Base d'asta;Prezzo di aggiudicazione;Risultato;Data di apertura;Data di chiusura;"
            "EAN;Codice modello;Consegna;Commento",
            "Articolo;Data di acquisto;Costo;Data di pubblicazione;Prezzo di listino;Data di vendita;"
            "Prezzo realizzato;Spedizione incassata;Spese;Margine",
        ),
        "nl": (
            "Transactienr.;Verkoopdatum;Productnaam;Stuks;Prijs per stuk;Munteenheid;"
            "Verzending in rekening gebracht;Totaal betaald;Commissie;Netto ontvangen;Woonplaats",
            "Advertentie-id;Eigen code;Kop;Fabrikant;Soort;Schoenmaat;Conditie;Vraagprijs;Verkocht?;Begindatum;"
            "Einddatum;Bewaard",
            "Veiling nr.;Artikel;Inzet;Hamerprijs;Resultaat;Begin;Einde;EAN;Typenummer;Bezorgkosten;Notitie",
            "Artikel;Aankoopdatum;Aankoopprijs;Datum geplaatst;Prijs gevraagd;Verkoopdatum;Opbrengst;"
            "Verzendkosten ontvangen;Onkosten;Marge",
        ),
    },
    {
        "en": (
            "Receipt;Date and time;Article;Pieces;Price each;Cur.;P&P;Grand total;Platform commission;"
            "You receive;Postcode",
            "Item ID;Internal code;Listing title;Manufacturer;Product type;Size label;Item condition;"
            "Current price;Sold?;Date posted;Date closed;Watchers",
            "Lot no.;Lot title;Reserve price;Price realised;Lot status;Sale opens;Sale closes;UPC;"
            "Manufacturer's reference;Shipping fee;Remark",
            "Description;Buying date;Buying price;On sale since;Price asked;Selling date;Price obtained;"
            "Carriage paid by customer;Expenses;Net gain",
        ),
        "de": (
            "Vorgang;Verkaufszeitpunkt;Produkt;Stück;Preis je Stück;Währungscode;Versandgebühr;Endsumme;"
            "Verkaufsprovision;Gutschrift;PLZ",
            "Artikel-ID;Eigene Nr.;Angebotstitel;Markenname;Warengruppe;Kleidergröße;Artikelzustand;"
            "Aktueller Preis;Verkauft (ja/nein);Angebotsbeginn;Angebotsende;Beobachter",
            "Losnummer;Lostitel;Mindestpreis;Erzielter Preis;Ausgang;Eröffnung;Schluss;EAN-Code;Herstellernummer;"
            "Versandpreis;Anmerkungen",
            "Ware;Eingekauft am;Einstandspreis;Online seit;Geforderter Preis;Verkauf am;Erzielter Preis;"
            "Versanderlös;Ausgaben;Reingewinn",
        ),
        "fr": (
            "Reçu;Date et heure de vente;Produit;Nombre d'unités;Prix à l'unité;Code devise;Frais d'envoi;"
            "Somme totale;Commission de vente;Net à recevoir;Code postal",
            "Identifiant de l'annonce;Code magasin;Titre de l'annonce;Marque du produit;Type de produit;"
            "Taille EU;État de l'article;Prix actuel;Vendu ?;Publié le;Clôturé le;Abonnés",
            "Numéro du lot;Titre du lot;Prix de réserve;Prix obtenu;Statut;Début de l'enchère;Fin de l'enchère;"
            "Code EAN;Référence du fabricant;Frais de livraison;Observations",
            "Description;Date achat;Prix payé à l'achat;En ligne depuis;Prix de mise en vente;Date vente;"
            "Prix de revente;Envoi payé par le client;Dépenses;Gain net",
        ),
        "es": (
            "Recibo;Fecha y hora de venta;Producto;Uds.;Precio por unidad;Código de moneda;Coste de envío;"
            "Suma total;Comisión de venta;A recibir;Código postal",
            "ID del anuncio;Código interno;Título del anuncio;Marca del producto;Tipo de producto;Talla EU;"
            "Estado del artículo;Precio actual;¿Está vendido?;Fecha de alta;Fecha de baja;Seguidores",
            "Número de lote;Título del lote;Precio de reserva;Precio obtenido;Situación;Apertura;Finalización;"
            "Código EAN;Número de referencia;Gastos de transporte;Comentarios",
            "Descripción;Fecha compra;Precio de coste;En venta desde;Precio solicitado;Fecha venta;"
            "Precio de la venta;Envío a cargo del cliente;Costes;Ganancia",
        ),
        "it": (
            "Ricevuta;Data e ora di vendita;Prodotto;N. pezzi;Prezzo al pezzo;Codice valuta;Costo di spedizione;"
            "Somma totale;Commissione di vendita;Da ricevere;CAP",
            "Codice annuncio;Riferimento interno;Titolo dell'annuncio;Marca prodotto;Tipo di prodotto;Taglia EU;"
            "Condizioni articolo;Prezzo attuale;È venduto?;Data di inserimento;Data di fine;Osservatori",
            "Numero del lotto;Titolo del lotto;Prezzo di riserva;Prezzo ottenuto;Stato;Inizio asta;Fine asta;"
            "Codice EAN;Riferimento del produttore;Costi di consegna;Osservazioni",
            "Descrizione;Data acquisto;Prezzo di costo;In vendita dal;Prezzo chiesto;Data vendita;"
            "Prezzo di rivendita;Spedizione a carico del cliente;Uscite;Utile",
        ),
        "nl": (
            "Bon;Datum en tijd;Product;Stuks;Prijs per eenheid;Valutacode;Portokosten;Eindtotaal;"
            "Verkoopcommissie;Te ontvangen;Postcode",
            "Advertentiecode;Interne code;Titel advertentie;Merknaam;Productsoort;Kledingmaat;"
            "Staat van het artikel;Huidige prijs;Is verkocht;Datum plaatsing;Datum einde;Volgers",
            "Kavelnummer;Kaveltitel;Minimumprijs;Behaalde prijs;Status;Start veiling;Einde veiling;EAN-code;"
            "Referentie fabrikant;Verzendtarief;Opmerkingen",
            "Beschrijving;Datum inkoop;Inkoopbedrag;Te koop sinds;Gevraagde prijs;Datum verkoop;"
            "Gerealiseerde prijs;Verzending door klant betaald;Uitgaven;Nettowinst",
        ),
    },
)

"""What a note speaks of, where its words say so plainly; where they don't, it is about nothing in particular.

English, German, French, Spanish and Italian. A sentence with a word of doubt, wish or time to come is not heard, nor a
part of one with a denial, nor a question: a map that somebody meant to switch to was not switched to.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from ridelog.words.causes import tells_of_loss

if TYPE_CHECKING:
    from ridelog.bike import Bike
    from ridelog.store.casebook import AboutName

Why = Literal["plain", "nothing", "not_plain", "two_things", "map_not_named"]


@dataclass(frozen=True)
class Taken:
    """What a note was taken to be about, and why: its words say so, say nothing of the kind, say it with doubt, say two
    things, or speak of a map without telling which."""

    about: AboutName
    why: Why


def _any(*words: str) -> re.Pattern[str]:
    return re.compile(rf"(?<!\w)(?:{'|'.join(words)})(?!\w)")


_SENTENCES = re.compile(r"[.;!]+")
_PARTS = re.compile(r"[.,;:!]+|(?<!\w)(?:but|aber|mais|pero|però|ma)(?!\w)")

_DENIED = _any(
    r"no|not|never|without|nothing|none|zero|\w+n['’]t|cannot",
    r"kein\w*|nicht|ohne|nie|nichts",
    r"pas|sans|jamais|aucun\w*|rien",
    r"sin|nunca|ningún|ningun\w*|nada",
    r"non|senza|mai|nessun\w*|niente",
)
_DOUBTED = _any(
    r"should|would|could|might|may|maybe|perhaps|probably|think|thought|guess|believe\w*|seem\w*|if|unless|try|tried|"
    r"trying|failed|forg[eo]t\w*|want\w*|need\w*|must|will|going to|plan\w*|later|next|tomorrow|instead|almost|nearly|"
    r"about to|told to|asked to|advised|supposed|had to",
    r"vielleicht|wohl|eventuell|glaub\w*|denk\w*|hätte\w*|sollte\w*|wollte\w*|müsste\w*|würde\w*|könnte\w*|vergess\w*|"
    r"versuch\w*|später|morgen|nächst\w*|falls|wenn|fast|beinahe|werde\w*",
    r"peut-être|sans doute|crois|pense|aurai\w*|devrai\w*|voulai\w*|oubli\w*|essay\w*|plus tard|demain|prochain\w*|"
    r"presque|faut|faudrait|si",
    r"quizás?|tal vez|creo|pienso|debería\w*|quería\w*|olvid\w*|intent\w*|luego|mañana|próxim\w*|casi|habría\w*",
    r"forse|credo|penso|dovrei|dovevo|avrei|volevo|dimentic\w*|prova\w*|domani|prossim\w*|quasi|se",
)

_MAP = r"(?:maps?|mapping|kennfeld|cartographie|carto|mapa|mappa|mappatura)"
_CONSERVATIVE = r"(?:conservative|konservativ\w*|conservatrice|conservateur|conservador|conservadora|conservativ[oa])"
_STANDARD = r"(?:standard|serien\w*|de série|d['’]origine|estándar|estandar|di serie)"
_ARTICLE = r"(?:(?:the|my|der|die|das|dem|den|la|le|el|il|lo)\s+)?"
_MOVED = (
    r"(?:switch\w*|chang\w*|went|go|put|set|select\w*|turned|back|flicked|clicked|"
    r"umgeschaltet|geschaltet|schalte\w*|gewechselt|wechs\w*|gestellt|umgestellt|zurück|"
    r"passé\w*|passage|passat[oa]|mis|bascul\w*|commut\w*|cambi\w*|puse|puesto|mess[oa])"
)
_ONTO = r"(?:to|onto|into|on|in|auf|ins|sur|en|à|a|al|alla|sulla|su)"
_ON = (
    r"(?:on|selected|engaged|active|activated|from here|from here on|now|here|an|ein|aktiv|ab hier"
    r"|activée|activé|activ[oa]|attiv[oa]|inserita)"
)

_SPEAKS_OF_MAP = re.compile(rf"(?<!\w){_MAP}(?!\w)|{_MOVED}[^.]*{_CONSERVATIVE}|{_MOVED}[^.]*{_STANDARD}")

_LOSS = re.compile(
    r"kühl(?:wasser|mittel|flüssigkeit)[^.]*(?:verlor|verlust|fehl|ausgelaufen|übergelaufen|tropf|leck|überlauf|nachgefüllt)"
    r"|(?:verlor|verlust|leck|nachgefüllt)[^.]*kühl(?:wasser|mittel|flüssigkeit)"
    r"|liquide(?: de refroidissement)?[^.]*(?:perdu|perte|fuit|manqu|trop-plein|débord|rajout)"
    r"|(?:perdu|perte|fuite|manque|rajouté)[^.]*liquide"
    r"|(?:refrigerante|líquido)[^.]*(?:perdid|perdi[óo]|pérdida|fuga|falta|rebos|rellen|gote)"
    r"|(?:perdid|perdí|pérdida|fuga|falta|rellen)\w*[^.]*(?:refrigerante|líquido)"
    r"|(?:liquido|refrigerante)[^.]*(?:pers[oa]|perdit|perde|manca|gocciol|traboc|rabbocc)"
    r"|(?:pers[oa]|perdita|manca|rabbocc\w*)(?!\w)[^.]*(?:liquido|refrigerante)"
)
_STOPPED = re.compile(
    r"(?:i |we |ich |wir |hab\w* |j['’]ai |me he |mi sono |ci siamo |arrêt )*"
    r"(?:stopped|stop|paused?|halt|halted|waited|waiting|standing|stood|break"
    r"|angehalten|gehalten|stopp|pause|rast|gestanden"
    r"|arrêt|arrêtée?s?|halte"
    r"|parada|parado|paré|pausa|descanso"
    r"|sosta|fermat[oaie]|fermo)"
    r"(?!\w)(?!\s+(?:leak|drip|work|turn|run|fan|sign|lamp|switch|spin))"
)
_PARTS_OF_BIKE = (
    r"(?:radiator\w*|coolant|thermostat|cap|fan|hoses?|pump|plug|filters?|jets?|oil|gasket"
    r"|kühler|kühl\w+|deckel|lüfter|schl[aä]uch\w*|pumpe|kerze|öl|dichtung"
    r"|radiateurs?|bouchon|ventilateur|durites?|pompe|bougie|filtre|joint|liquide|huile"
    r"|radiador\w*|termostato|tapón|ventilador|manguitos?|bomba|bujía|filtro|junta|refrigerante|aceite"
    r"|radiator[ei]|tappo|ventola|manicott[oi]|pompa|candela|guarnizione|liquido|olio)"
)
_WORKED = (
    r"(?:washed|cleaned|replaced|changed|bled|flushed|fitted|swapped|straightened|drained|renewed"
    r"|gewaschen|gereinigt|ersetzt|gewechselt|getauscht|entlüftet|gespült|erneuert"
    r"|lavé\w*|nettoyé\w*|remplacé\w*|changé\w*|purgé\w*|rincé\w*"
    r"|lavad[oa]s?|limpiad[oa]s?|cambiad[oa]s?|purgad[oa]s?|sustituid[oa]s?"
    r"|lavat[oaie]|pulit[oaie]|sostituit[oaie]|cambiat[oaie]|spurgat[oaie])"
)
_SERVICE = re.compile(
    rf"^(?:service|wartung|inspektion|entretien|révision|revisión|mantenimiento|tagliando|manutenzione)(?!\w)"
    rf"|(?<!\w){_WORKED}(?!\w)[^.]*(?<!\w){_PARTS_OF_BIKE}(?!\w)|(?<!\w){_PARTS_OF_BIKE}(?!\w)[^.]*(?<!\w){_WORKED}(?!\w)"
)


def about_of(text: str, bike: Bike | None = None) -> Taken:
    """What a note is about. `bike` tells which map a number is: "map 2" is plain only where its file says so."""
    told = " ".join(text.casefold().split())
    sure = [sentence for sentence in _SENTENCES.split(told) if not _DOUBTED.search(sentence)] if "?" not in told else []
    heard = [part.strip() for sentence in sure for part in _PARTS.split(sentence) if not _DENIED.search(part)]
    found = {kind for part in heard for kind in _kinds(part, bike)}
    maps: set[AboutName] = found & {"map_conservative", "map_standard"}
    loss: set[AboutName] = found & {"coolant_lost"}
    if len(maps) + len(loss) > 1:
        return Taken("other", "two_things")
    for about in (*maps, *loss, *(("service",) if "service" in found else ()), *(("stop",) if "stop" in found else ())):
        return Taken(about, "plain")
    if any(_SPEAKS_OF_MAP.search(part) for part in heard):
        return Taken("other", "map_not_named")
    everything = [part.strip() for part in _PARTS.split(told.replace("?", ""))]
    return Taken("other", "not_plain" if any(_kinds(part, bike) for part in everything) else "nothing")


def _kinds(part: str, bike: Bike | None) -> set[AboutName]:
    found: set[AboutName] = set()
    if _tells_map(part, _CONSERVATIVE) or _numbered(part, bike) == "map_conservative":
        found.add("map_conservative")
    if _tells_map(part, _STANDARD) or _numbered(part, bike) == "map_standard":
        found.add("map_standard")
    if tells_of_loss(part) or _LOSS.search(part):
        found.add("coolant_lost")
    if _STOPPED.match(part):
        found.add("stop")
    if _SERVICE.search(part):
        found.add("service")
    return found


def _tells_map(part: str, name: str) -> bool:
    """A move onto the map of that name, or nothing but its name."""
    named = rf"(?:{_ARTICLE}{name}(?:\s+{_MAP})?|{_ARTICLE}{_MAP}\s+{name})"
    moved = rf"(?<!\w){_MOVED}(?!\w)(?:\s+\S+){{0,5}}?\s+{_ONTO}\s+{named}(?!\w)"
    moved_last = rf"(?<!\w)auf\s+{named}(?:\s+\S+)?\s+{_MOVED}(?!\w)"
    alone = rf"^(?:now\s+)?(?:on\s+|auf\s+|sur\s+|en\s+|in\s+)?{named}(?:\s+{_ON})*$"
    return any(re.search(pattern, part) for pattern in (moved, moved_last, alone))


def _numbered(part: str, bike: Bike | None) -> AboutName | None:
    """The map that a number names, where number and log agree on the slot."""
    number = r"(\d{1,2})"
    named = rf"{_ARTICLE}{_MAP}\s*(?:no\.?\s*|nr\.?\s*|#\s*|slot\s*)?{number}"
    patterns = (
        rf"(?<!\w){_MOVED}(?!\w)(?:\s+\S+){{0,5}}?\s+{_ONTO}\s+{named}(?!\w)",
        rf"(?<!\w)auf\s+{named}(?:\s+\S+)?\s+{_MOVED}(?!\w)",
        rf"^(?:now\s+)?(?:on\s+|auf\s+|sur\s+|en\s+|in\s+)?{named}(?:\s+{_ON})*$",
    )
    found = {int(match[1]) for pattern in patterns for match in re.finditer(pattern, part)}
    if bike is None or len(found) != 1:
        return None
    (slot,) = found
    # A number on the switch that the log writes as another one could mean either.
    if slot not in {known for _, known in bike.slot_values} or bike.slot_of(str(slot)) not in (slot, None):
        return None
    return "map_conservative" if slot == bike.conservative_slot else "map_standard"

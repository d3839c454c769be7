"""Invented names of streets and people, put together from syllables so that nobody and nowhere real is meant."""

import random


def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split())


STREET_HEADS = _words(
    "Alder Amber Ash Barley Bel Birch Bram Brook Cal Cinder Clay Clover Cob Copper Corn Cray Dapple Dell Dun Elder "
    "Ember Fal Fern Flax Gale Glim Gorse Hale Harl Hazel Hol Isen Jun Kel Lark Lin Mallow Mar Mead Merle Mill "
    "Nettle Or Pell Quill Ran Rook Rush Sable Sedge Sorrel Tan Thistle Tor Um Vale Wether Wil Yar"
)
STREET_TAILS = _words(
    "bourne brake combe croft dane den fell ford garth gate grove ham holt hurst lea low march mere more ney ridge "
    "row shaw sted ton wick wold worth"
)

FIRST_NAMES_EN = _words(
    "Ada Alan Amy Anton Beatrix Ben Carla Cedric Clara Colin Dana Dora Edgar Edith Elsa Emmett Faye Felix Flora "
    "Gail Gerald Greta Gwen Hank Harriet Hugo Ida Ivan Jane Jasper Joan Kurt Laurel Leo Lydia Mabel Marvin Maud "
    "Nell Nolan Olga Oscar Pearl Percy Quentin Rhoda Roland Ruth Saul Selma Stella Theo Una Vera Vernon Walter "
    "Wanda Willa Yvonne"
)
FIRST_NAMES_ES = _words(
    "Alma Andrés Blanca Carmen Diego Elena Esteban Inés Iván Jacinta Julián Leonor Lucía Marisol Mateo Nieves "
    "Octavio Paloma Ramón Rocío Santiago Teresa Tomás Ximena"
)
FAMILY_HEADS = _words(
    "Abber Ather Bren Bick Card Cattle Chor Dray Ed Farn Fitch Gar Grim Had Hesk Hoth Jar Ked Lam Led Lup Mag Mun "
    "Nar Oak Orl Pad Pim Quen Ram Rens Sall Scar Stav Tad Thorn Tre Uff Ving Wad Wes Yel Zan"
)
FAMILY_TAILS = _words(
    "ander beck bury dale dock ery fitt gill ingham kin lock man nock over rell ridge sby son wain yard"
)
FAMILY_HEADS_ES = _words("Alm Ar Bal Bar Cas Cor Del Esp Gal Ir Lan Mal Mon Nav Or Pal Qui Sal Tor Val Zal")
FAMILY_TAILS_ES = _words("andero aquez arrena azuela egoña elvira endral erano irrey ondara ozuela urán uzeta")


def street_names(rng: random.Random) -> list[str]:
    """All street names without their kind of road ("Alderbourne"), each once, in random order."""
    names = [head + tail for head in STREET_HEADS for tail in STREET_TAILS if not _awkward(head, tail)]
    rng.shuffle(names)
    return names


def person_names(rng: random.Random, *, spanish: bool, count: int) -> list[tuple[str, str]]:
    """So many different (first name, family name), none twice."""
    heads, tails = (FAMILY_HEADS_ES, FAMILY_TAILS_ES) if spanish else (FAMILY_HEADS, FAMILY_TAILS)
    firsts = FIRST_NAMES_ES if spanish else FIRST_NAMES_EN
    families = [head + tail for head in heads for tail in tails if not _awkward(head, tail)]
    if count > len(families):
        raise ValueError(f"at most {len(families)} names, asked for {count}")
    return [(rng.choice(firsts), family) for family in rng.sample(families, count)]


def _awkward(head: str, tail: str) -> bool:
    return head[-1].lower() == tail[0] or (head + tail).lower() in REAL_WORDS


# Put together by chance, known as real towns, families or words: left out.
REAL_WORDS = frozenset(
    _words(
        "aldergrove alderham alderholt ashcombe ashcroft ashden ashford ashgrove ashridge ashton ashwick ashworth "
        "belford belgrove belham belmore belton birchden birchgrove brambourne bramford bramham brookfell "
        "brookgate brookgrove brookham brookhurst caldane calden calham calton cardery cardman claygate clayham "
        "clayton cobham copperton cornford corngrove cornham crayford dunford dunham dunmere dunmore dunton "
        "edbury edman edson eldergrove emberton falden falmere ferndane ferngrove fernhurst fernmore galeton "
        "gargill garlock garman garnock garson glimton grimsby grimson hadlock halegate haleham harlcroft harlden "
        "harlford harlmere harlney harlsted harlton harlwick harlworth hazelden hazelgrove hazelhurst hazelmere "
        "hazelridge hazelton holcombe holden holford holgate holton jarbeck jarman kedson kelham kelmere kelton "
        "lambeck lamdale lamson larkgrove larkhurst larkmere ledbury ledson lincroft lindane linden linford "
        "linton linwick magson marcombe mardane marden marham marhurst marlow marsted marton marwick meadham "
        "merlemere millbrake millford millgate millrow mundale oakdale oakdock oakery oaklock oakman oakridge "
        "orford orton padlock padman quillcroft ramsby ramson rancombe ranmore ranworth rushden rushford rushmere "
        "rushton sablemore scarery scarman scarsby stavman tadman tadsby tansted tanton tanworth thornbeck "
        "thornbury thornson torcroft tormore torworth tredale trekin umford valeford valegrove valeham valemore "
        "wadman wadson wesbury wesdale wilcroft wilden wilford wilmore wilsted wilton wilworth yarford yarmere "
        "yarwick yarworth yelman"
    )
)

"""Invented names of streets and people, put together from syllables so that nobody and nowhere real is meant."""

import random

STREET_HEADS = (
    "Alder Amber Ash Barley Bel Birch Bram Brook Cal Cinder Clay Clover Cob Copper Corn Cray Dapple Dell Dun Elder "
    "Ember Fal Fern Flax Gale Glim Gorse Hale Harl Hazel Hol Isen Jun Kel Lark Lin Mallow Mar Mead Merle Mill "
    "Nettle Or Pell Quill Ran Rook Rush Sable Sedge Sorrel Tan Thistle Tor Um Vale Wether Wil Yar"
).split()
STREET_TAILS = (
    "bourne brake combe croft dane den fell ford garth gate grove ham holt hurst lea low march mere more ney ridge "
    "row shaw sted ton wick wold worth"
).split()

FIRST_NAMES_EN = (
    "Ada Alan Amy Anton Beatrix Ben Carla Cedric Clara Colin Dana Dora Edgar Edith Elsa Emmett Faye Felix Flora "
    "Gail Gerald Greta Gwen Hank Harriet Hugo Ida Ivan Jane Jasper Joan Kurt Laurel Leo Lydia Mabel Marvin Maud "
    "Nell Nolan Olga Oscar Pearl Percy Quentin Rhoda Roland Ruth Saul Selma Stella Theo Una Vera Vernon Walter "
    "Wanda Willa Yvonne"
).split()
FIRST_NAMES_ES = (
    "Alma Andrés Blanca Carmen Diego Elena Esteban Inés Iván Jacinta Julián Leonor Lucía Marisol Mateo Nieves "
    "Octavio Paloma Ramón Rocío Santiago Teresa Tomás Ximena"
).split()
FAMILY_HEADS = (
    "Abber Ather Bren Bick Card Cattle Chor Dray Ed Farn Fitch Gar Grim Had Hesk Hoth Jar Ked Lam Led Lup Mag Mun "
    "Nar Oak Orl Pad Pim Quen Ram Rens Sall Scar Stav Tad Thorn Tre Uff Ving Wad Wes Yel Zan"
).split()
FAMILY_TAILS = "ander beck bury dale dock ery fitt gill ingham kin lock man nock over rell ridge sby son wain yard".split()
FAMILY_HEADS_ES = "Alm Ar Bal Bar Cas Cor Del Esp Gal Ir Lan Mal Mon Nav Or Pal Qui Sal Tor Val Zal".split()
FAMILY_TAILS_ES = (
    "andero aquez arrena azuela egoña elvira endral erano irrey ondara ozuela urán uzeta".split()
)


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
    "ashford ashton brookham caldane clayton copperton dunham dunton elmhurst fernhurst hazelden hazelton haleham "
    "halegate lindale lindenhurst linton lincroft linford lindane linden martin marlow marham marsted marton marwick "
    "milton millford millgate millbrake meadow meadowgate orford orton rookwood rushden rushton rushmere rushford "
    "taunton tanworth tanton torworth valeford wilton wilford wilden wilsted yarwick bickerson cardman edson edman "
    "edbury garman garson garland grimson grimsby jarman jarbeck kedson ledson ledbury lambeck lamdale lamson "
    "magson mundale naron oakman oakdale oakridge padman ramson ramsby ramsbury rensson scarman scarsby stavman "
    "tadman thornbury thornbeck thornson trekin tredale wadman wadson wesson wesbury wesdale yelman yelland "
    "barlow harlow harlton harley calden calton calham belham belford belton belgrove belmore bramham bramley "
    "bramford brambourne brookhurst brookfell brookgrove brookgate birchwood birchgrove birchden birchham "
    "claygate clayham cornham cornford cobham crayford dellwood dunmore dunford dunmere eldergrove emberton falden "
    "falmere ferngrove ferndane galeton glimton hazelgrove hazelridge hazelhurst hazelmere holcombe holden holford "
    "holton holgate kelham kelso kelton kelmere larkhurst larkgrove larkmere linwick meadham merlemere oram ranworth "
    "ranmore rancombe tormore torcroft torridge umford walden wilcroft wilmore wilworth yarmere yarford yarmouth "
    "yarworth valegrove valeham maringham marcombe mardane marden marhurst marley quillcroft harlcroft harlden "
    "harlford harlow harlsted harlwick harlworth harlmere corngrove ashgrove ashcombe ashcroft ashden ashham ashridge "
    "ashwick ashworth ashley alderholt alderley aldergrove alderham".split()
)

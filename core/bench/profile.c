/* The table of chemistries. Every value is an editable default of the tool and none is a claim of
 * conformity: set them from the cell maker's sheet and your own copy of the standard. Where no
 * source is named a value is common practice, written from memory. */
#include "bench/profile.h"

#include <math.h>
#include <stddef.h>
#include <strings.h>

#include "bench/channel.h"

const struct limits LIMITS_NONE = {NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN};

struct limits limits_meet(const struct limits *a, const struct limits *b)
{
    /* fmax and fmin pass over a NAN, which is what "not set" asks for. */
    return (struct limits){
        .voltage_least = fmax(a->voltage_least, b->voltage_least),
        .voltage_most = fmin(a->voltage_most, b->voltage_most),
        .charge_current_most = fmin(a->charge_current_most, b->charge_current_most),
        .discharge_current_most = fmin(a->discharge_current_most, b->discharge_current_most),
        .charge_temperature_least = fmax(a->charge_temperature_least, b->charge_temperature_least),
        .charge_temperature_most = fmin(a->charge_temperature_most, b->charge_temperature_most),
        .discharge_temperature_least =
            fmax(a->discharge_temperature_least, b->discharge_temperature_least),
        .discharge_temperature_most =
            fmin(a->discharge_temperature_most, b->discharge_temperature_most),
        .reading_age_most = fmin(a->reading_age_most, b->reading_age_most),
    };
}

#define PRIMARY_LIMITS(most)                                                                       \
    {                                                                                              \
        .voltage_least = 0, .voltage_most = (most), .charge_current_most = 0,                      \
        .discharge_current_most = NAN, .charge_temperature_least = NAN,                            \
        .charge_temperature_most = NAN, .discharge_temperature_least = -20,                        \
        .discharge_temperature_most = 55, .reading_age_most = NAN                                  \
    }

#define PRIMARY_WHY "a primary cell that is charged can leak, vent or burst"
#define LITHIUM_WHY "a primary lithium cell that is charged can burst and burn"

static const struct profile profiles[] = {
    {
        .chemistry = "NiMH",
        .rechargeable = true,
        .nominal_voltage = 1.2,
        /* 0.2 It to 1.0 V: IEC 61951-2, as quoted by texts that follow it. */
        .end_voltage = 1.0,
        .charge_ceiling = NAN,
        .charge_rate_most = 1.0,
        /* 5 It is the faster test rate of the high-rate type: IEC 61951-2, from memory. */
        .discharge_rate_most = 5.0,
        .present_least = 0.3,
        .backstop_charge = 1.2, /* at fast rates */
        /* 0.1 It for 16 h is the standard charge: IEC 61951-2. Factor of the time likewise. */
        .backstop_slow = 1.6,
        .backstop_time = 1.6,
        .limits =
            {
                .voltage_least = 0, /* never below: reversal makes hydrogen */
                .voltage_most = 1.8,
                .charge_current_most = NAN,
                .discharge_current_most = NAN,
                .charge_temperature_least = 0,
                /* The usual cut-off is 45 to 55 degC: from memory. */
                .charge_temperature_most = 55,
                .discharge_temperature_least = -20, /* from memory */
                .discharge_temperature_most = 60,   /* from memory */
                .reading_age_most = NAN,
            },
    },
    {
        .chemistry = "NiCd",
        .rechargeable = true,
        .nominal_voltage = 1.2,
        .end_voltage = 1.0, /* C5 to 1.0 V at 20 degC: standards for sealed NiCd cells */
        .charge_ceiling = NAN,
        .charge_rate_most = 1.0,
        .discharge_rate_most = 10.0, /* the highest test rate of type X: from memory */
        .present_least = 0.3,
        .backstop_charge = 1.2,
        .backstop_slow = 1.6, /* 0.1 It for 16 h: IEC 61951-1, from memory */
        .backstop_time = 1.6,
        .limits =
            {
                .voltage_least = 0,
                .voltage_most = 1.8,
                .charge_current_most = NAN,
                .discharge_current_most = NAN,
                .charge_temperature_least = 0,
                .charge_temperature_most = 55,
                .discharge_temperature_least = -20,
                .discharge_temperature_most = 60,
                .reading_age_most = NAN,
            },
    },
    {
        .chemistry = "Li-ion",
        .rechargeable = true,
        .nominal_voltage = 3.6,
        .end_voltage = 2.75, /* declared by the maker; commonly 2.5 to 3.0 V: from memory */
        .charge_ceiling = 4.2,
        .charge_rate_most = 1.0,
        .discharge_rate_most = 2.0,
        /* A cell found under about 2 V is not charged: IEC 62133-2's principle, from memory. */
        .present_least = 2.0,
        .backstop_charge = 1.2,
        .backstop_slow = 1.2, /* overcharge is not borne at any rate */
        .backstop_time = 3.0, /* the constant-voltage part takes as long as the first or longer */
        .limits =
            {
                .voltage_least = 2.5,
                .voltage_most = 4.25, /* 4.20 +- 0.05 V: from memory */
                .charge_current_most = NAN,
                .discharge_current_most = NAN,
                .charge_temperature_least = 0, /* below it lithium plates: from memory */
                .charge_temperature_most = 45, /* from memory */
                .discharge_temperature_least = -20,
                .discharge_temperature_most = 60,
                .reading_age_most = NAN,
            },
    },
    {
        .chemistry = "LiFePO4",
        .rechargeable = true,
        .nominal_voltage = 3.2,
        .end_voltage = 2.5,
        .charge_ceiling = 3.65, /* commonly 3.60 to 3.65 V: from memory */
        .charge_rate_most = 1.0,
        .discharge_rate_most = 2.0,
        .present_least = 2.0,
        .backstop_charge = 1.2,
        .backstop_slow = 1.2,
        .backstop_time = 3.0,
        .limits =
            {
                .voltage_least = 2.0,
                .voltage_most = 3.7,
                .charge_current_most = NAN,
                .discharge_current_most = NAN,
                .charge_temperature_least = 0,
                .charge_temperature_most = 45,
                .discharge_temperature_least = -20,
                .discharge_temperature_most = 60,
                .reading_age_most = NAN,
            },
    },
    /* Primary cells (IEC 60086 system letters, from memory): discharged, never charged. */
    {
        .chemistry = "alkaline", /* L */
        .why_not = PRIMARY_WHY,
        .nominal_voltage = 1.5,
        .end_voltage = 0.9,
        .charge_ceiling = NAN,
        .discharge_rate_most = 1.0,
        .present_least = 0.3,
        .limits = PRIMARY_LIMITS(1.7),
    },
    {
        .chemistry = "zinc-carbon", /* no letter */
        .why_not = PRIMARY_WHY,
        .nominal_voltage = 1.5,
        .end_voltage = 0.9,
        .charge_ceiling = NAN,
        .discharge_rate_most = 0.5,
        .present_least = 0.3,
        .limits = PRIMARY_LIMITS(1.8),
    },
    {
        .chemistry = "Li-MnO2", /* C */
        .why_not = LITHIUM_WHY,
        .nominal_voltage = 3.0,
        .end_voltage = 2.0,
        .charge_ceiling = NAN,
        .discharge_rate_most = 0.5,
        .present_least = 0.5,
        .limits = PRIMARY_LIMITS(3.7),
    },
    {
        .chemistry = "Li-FeS2", /* F */
        .why_not = LITHIUM_WHY,
        .nominal_voltage = 1.5,
        .end_voltage = 0.9,
        .charge_ceiling = NAN,
        .discharge_rate_most = 1.0,
        .present_least = 0.3,
        .limits = PRIMARY_LIMITS(1.9),
    },
};

/* Other ways to write a chemistry. "Lithium" alone is taken for the primary cell, which is refused
 * a charge: the safe way to misread it. */
static const struct {
    const char *written, *chemistry;
} synonyms[] = {
    {"Ni-MH", "NiMH"},
    {"HR", "NiMH"}, /* IEC 61951-2's designation of a cylindrical cell */
    {"nickel-metal hydride", "NiMH"},
    {"nickel metal hydride", "NiMH"},
    {"Ni-Cd", "NiCd"},
    {"KR", "NiCd"}, /* IEC 61951-1's */
    {"nickel-cadmium", "NiCd"},
    {"nickel cadmium", "NiCd"},
    {"LiIon", "Li-ion"},
    {"Li ion", "Li-ion"},
    {"lithium-ion", "Li-ion"},
    {"lithium ion", "Li-ion"},
    {"LFP", "LiFePO4"},
    {"lithium iron phosphate", "LiFePO4"},
    {"alkaline manganese", "alkaline"},
    {"Zn-MnO2", "alkaline"},
    {"zinc carbon", "zinc-carbon"},
    {"lithium", "Li-MnO2"},
    {"lithium primary", "Li-MnO2"},
    {"primary lithium", "Li-MnO2"},
    {"LiMnO2", "Li-MnO2"},
    {"lithium iron disulfide", "Li-FeS2"},
    {"LiFeS2", "Li-FeS2"},
};

#define COUNT(array) (sizeof(array) / sizeof(array)[0])

const struct profile *profile_at(int i)
{
    return i >= 0 && (size_t)i < COUNT(profiles) ? &profiles[i] : NULL;
}

const struct profile *profile_find(const char *chemistry)
{
    if (chemistry == NULL)
        return NULL;
    for (size_t i = 0; i < COUNT(synonyms); i++)
        if (strcasecmp(chemistry, synonyms[i].written) == 0)
            chemistry = synonyms[i].chemistry;
    for (size_t i = 0; i < COUNT(profiles); i++)
        if (strcasecmp(chemistry, profiles[i].chemistry) == 0)
            return &profiles[i];
    return NULL;
}

struct limits profile_limits(const struct profile *profile, double rated_charge)
{
    struct limits limits = profile->limits;
    double it = rated_charge > 0 ? rated_charge / 3600.0 : NAN; /* IEC 61434 */
    if (profile->rechargeable)
        limits.charge_current_most = profile->charge_rate_most * it;
    limits.discharge_current_most = profile->discharge_rate_most * it;
    return limits;
}

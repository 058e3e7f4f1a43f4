// Measurements that the contract names and this version does not make. A rule may name them; it then reads "not measured".
#include "measure/meter.h"

namespace sendworthy::measure {
namespace {

constexpr CatalogEntry kEntries[] = {
    {.id = "bandwidth", .title = "Bandwidth", .group = Group::noise, .unit = Unit::hz, .decimals = 0,
     .what = "How far up the spectrum reaches.", .available = false},
    {.id = "lossy_source", .title = "Lossy source", .group = Group::noise, .unit = Unit::text, .decimals = 0,
     .what = "Traces of a lossy codec in a lossless file.", .available = false},
    {.id = "upsampled_source", .title = "Upsampled source", .group = Group::noise, .unit = Unit::text, .decimals = 0,
     .what = "Traces of a lower sample rate.", .available = false},
    {.id = "imaging", .title = "Imaging", .group = Group::noise, .unit = Unit::text, .decimals = 0,
     .what = "Mirror images from a poor conversion.", .available = false},
    {.id = "noise_floor_steps", .title = "Steps of the noise floor", .group = Group::noise, .unit = Unit::count, .decimals = 0,
     .what = "Places where the background noise jumps.", .available = false},
    {.id = "mains_hum", .title = "Mains hum", .group = Group::noise, .unit = Unit::db, .decimals = 2,
     .what = "Hum lines over their neighbourhood.", .available = false},
    {.id = "steady_tones", .title = "Steady tones", .group = Group::noise, .unit = Unit::count, .decimals = 0,
     .what = "Narrow lines through the whole file.", .available = false},
    {.id = "click_bleed", .title = "Click bleed", .group = Group::noise, .unit = Unit::text, .decimals = 0,
     .what = "A metronome heard in the pauses.", .available = false},
};

}  // namespace

extern const MeterModule kNotYetModule{kEntries, nullptr};

}  // namespace sendworthy::measure

// How a file begins and ends, read from its levels: fades, and what stands in front of the music.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace sendworthy::measure {

/// About 10 ms of all channels together.
struct Tick {
  float power = 0;   ///< mean square
  float motion = 0;  ///< mean square of the steps from sample to sample: rises with brightness
};

struct Fade {
  double length_s = 0;  ///< 0: none
  double fall_db = 0;
};
enum class Edge { head, tail };
/// A fade at one end of `ticks`, which reach to that end of the file. Heuristic: a gain that goes to nothing, in a
/// straight line, its square or half a cosine, falls ever faster in decibels up to the moment of silence, while what
/// rings out falls evenly or ever more slowly. So either the time from silence up to each level must give one and the
/// same length of such a fade, and the music must be even without it; or, however uneven the music is, without the fade
/// it must be what it is beside it, and sounds must set in as often as there, up to the edge. `floor_db`: below this,
/// nothing is read.
[[nodiscard]] Fade find_fade(std::span<const Tick> ticks, double tick_s, Edge edge, double floor_db);

struct HeadEvents {
  struct Event {
    std::int64_t first = 0, end = 0;  ///< ticks
  };
  std::vector<Event> events;
};
/// Short sounds that stand alone in front of the music: at equal distances, as a count-in does, or followed by a pause.
/// `ticks` begin with the file. Heuristic.
[[nodiscard]] HeadEvents find_head_events(std::span<const Tick> ticks, double tick_s);

}  // namespace sendworthy::measure

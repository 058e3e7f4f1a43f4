// Breaks in the waveform: places that neither what stood before lets expect nor what stands behind.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "dsp/prediction.h"
#include "measure/window.h"

namespace sendworthy::measure {

class ClickFinder {
 public:
  struct Click {
    std::int64_t frame = 0;
    int channel = 0;     ///< from 1; 0: all that play
    double miss_db = 0;  ///< by which the wave misses what was expected, against full scale
    double over_db = 0;  ///< above the largest miss beside it
  };
  struct Found {
    std::vector<Click> clicks;  ///< the first kMaxWhere
    std::int64_t total = 0;
    std::vector<std::int64_t> grid;  ///< frames of the breaks that stand on a grid
    std::int64_t grid_step = 0;      ///< frames; 0: none
  };

  ClickFinder(int sample_rate, int channels);
  void settled(const Window& window, std::int64_t to);
  /// Call once the window has ended.
  [[nodiscard]] Found finish(const Window& window);

 private:
  struct Break {
    std::int64_t frame = 0;  ///< the first that the past did not foretell
    int width = 0;           ///< samples that belong to neither side; 0: two waves joined
    int channel = 0;         ///< from 0; -1: several
    double miss = 0, over = 0;
    bool whole = false;  ///< the miss is of the size of the wave itself
    bool level = true;   ///< as loud before as after, roughly
    bool flat = false;   ///< the wave stands still beside it, high up
  };
  struct Candidate {
    std::int64_t frame = 0;
    double stands_out = 0;
  };
  struct Line {
    std::vector<float> kinks;  ///< by sub-block, from first_sub_ on
    int tested = 0;            ///< in the stretch that runs
    std::optional<Candidate> best;
  };
  struct Side {
    double usual = 0;
    std::array<float, 16> misses{};  ///< round the candidate, in the order in which they were predicted
  };

  void look_until(const Window& window, std::int64_t ready);
  void look(const Window& window, int channel, std::int64_t sub);
  void end_stretch(const Window& window);
  void test(const Window& window, int channel, std::int64_t frame);
  Side predicted(int count);
  [[nodiscard]] bool is_level(const Window& window, int channel, std::int64_t from, std::int64_t to) const;
  [[nodiscard]] std::vector<Break> merged() const;

  const int sample_rate_;
  std::vector<Line> lines_;
  std::int64_t first_sub_ = 0, looked_ = 0;
  std::vector<Break> breaks_;    ///< the first kMostBreaks
  std::vector<float> x_, miss_;  ///< room for a test
};

/// Frames of breaks, in order → those that stand on one grid of buffers far more often than chance has it, and its
/// step. Nothing where they stand on a beat.
struct BufferGrid {
  std::vector<std::int64_t> frames;
  std::int64_t step = 0;
};
[[nodiscard]] BufferGrid buffer_grid(const std::vector<std::int64_t>& frames);

}  // namespace sendworthy::measure

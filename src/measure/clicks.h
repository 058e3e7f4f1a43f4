// Breaks in the waveform: places where it bends far more than anywhere near.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <vector>

#include "measure/window.h"

namespace sendworthy::measure {

class ClickFinder {
 public:
  struct Click {
    std::int64_t frame = 0;
    int channel = 0;     ///< from 1; 0: all that play
    double bend_db = 0;  ///< of the break, against full scale
    double over_db = 0;  ///< above the bends near it
  };
  struct Found {
    std::vector<Click> clicks;  ///< the first kMaxWhere
    std::int64_t total = 0;
    std::int64_t on_grid = 0;        ///< breaks that stand on a grid
    std::vector<std::int64_t> grid;  ///< the frames of the first of them
    std::int64_t grid_step = 0;      ///< frames; 0: none
  };

  ClickFinder(int sample_rate, int channels);
  void settled(const Window& window, std::int64_t to);
  [[nodiscard]] Found finish();

 private:
  struct Break {
    std::int64_t frame;
    int channel;
    double bend, over;
    bool lonely;  ///< nothing like it within 40 ms
  };
  void look(const Window& window, int channel, std::int64_t sub);
  void keep(const Break& one);

  const int sample_rate_;
  std::vector<std::deque<float>> bends_;  ///< by channel and sub-block, from first_sub_ on
  std::int64_t first_sub_ = 0, looked_ = 0;
  std::vector<float> fresh_;
  std::vector<Break> lonely_, all_;                   ///< the first kMostBreaks of each
  std::array<std::int64_t, dsp::kSubBlock> rests_{};  ///< breaks by frame modulo 64; every one counts
  std::int64_t last_ = -dsp::kSubBlock;
};

}  // namespace sendworthy::measure

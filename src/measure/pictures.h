// What pictures show beside the timelines of the measurements: made only when a picture was asked for.
#pragma once

#include <vector>

#include "dsp/spectrum.h"
#include "measure/meter.h"

namespace sendworthy::measure {

/// The long-term spectrum. The meter of the spectrum draws it, since both need the same transforms.
[[nodiscard]] Pictures::Spectrum picture_of(const dsp::BandSpectrum& spectrum, std::int64_t frames, int sample_rate);

class PictureMeter final : public Meter {
 public:
  explicit PictureMeter(const audio::StreamFormat& format);
  void process(const Block& block) override;
  void publish(Bus& bus) override;
  void report(const Bus&, Report&) override {}

 private:
  void outline(const Block& block);
  void levels(const Block& block);
  void density(const Block& block);
  void close_window();
  [[nodiscard]] Pictures::Density density_found(std::int64_t frames) const;

  const audio::StreamFormat format_;
  Ticks ticks_;

  /// Extremes per channel, each of `per_point_` sub-blocks; doubled whenever there are too many points.
  struct Outline {
    std::vector<float> highest, lowest;
  };
  std::vector<Outline> outlines_;
  std::int64_t per_point_ = 1, in_point_ = 0;

  float window_peak_ = 0;
  std::vector<std::int64_t> windows_;

  std::int64_t more_mid_ = 0, more_side_ = 0;  ///< frames
  std::vector<std::uint32_t> grid_;
  std::vector<std::int32_t> cells_;  ///< of one block
};

}  // namespace sendworthy::measure

// A name for the audio itself, whatever file it stands in.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "measure/meter.h"

namespace sendworthy::measure {

/// "xxh128:…" over kind, rate, channels, frames and the samples: integers left-justified in 32 bits, reals as 64-bit
/// floats with −0 as +0. Re-tagging, another container and padding of codes leave it as it is.
class DigestMeter final : public Meter {
 public:
  explicit DigestMeter(const audio::StreamFormat& format);
  ~DigestMeter() override;
  void process(const Block& block) override;
  void report(const Bus&, Report&) override {}
  [[nodiscard]] std::string text(std::int64_t frames) const;

 private:
  struct State;
  const audio::StreamFormat format_;
  std::unique_ptr<State> state_;
  std::vector<double> scratch_;
};

}  // namespace sendworthy::measure

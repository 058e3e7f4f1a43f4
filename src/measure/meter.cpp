#include "measure/meter.h"

#include <algorithm>
#include <cmath>

namespace sendworthy::measure {

Measurement& Report::add(std::string_view id, Outcome outcome, const Parameters& parameters) {
  Measurement measurement;
  measurement.id = std::string(id);
  measurement.key = key_of({measurement.id, parameters});
  measurement.outcome = std::move(outcome);
  measurements.push_back(std::move(measurement));
  return measurements.back();
}
Measurement& Report::value(std::string_view id, Value value, const Parameters& parameters) {
  return add(id, std::move(value), parameters);
}
Measurement& Report::not_measured(std::string_view id, std::string reason, const Parameters& parameters) {
  return add(id, NotMeasured{std::move(reason)}, parameters);
}
Measurement& Report::not_applicable(std::string_view id, std::string reason, const Parameters& parameters) {
  return add(id, NotApplicable{std::move(reason)}, parameters);
}

std::vector<Parameters> Setup::variants(std::string_view id) const {
  std::vector<Parameters> list{{}};
  for (const auto& request : requests) {
    if (request.id == id && !request.parameters.empty() &&
        std::find(list.begin(), list.end(), request.parameters) == list.end())
      list.push_back(request.parameters);
  }
  return list;
}

Where place(std::int64_t start_frame, std::int64_t end_frame, int sample_rate, int channel, std::string note) {
  Where where;
  where.start_frame = start_frame;
  where.end_frame = end_frame;
  where.start_s = static_cast<double>(start_frame) / sample_rate;
  where.end_s = static_cast<double>(end_frame) / sample_rate;
  where.channel = channel;
  where.note = std::move(note);
  return where;
}
Where place_at(std::int64_t frame, int sample_rate, int channel, std::string note) {
  return place(frame, frame + 1, sample_rate, channel, std::move(note));
}

double amplitude_db(double linear) { return linear > 0 ? std::max(kFloorDb, 20 * std::log10(linear)) : kFloorDb; }
double power_db(double power) { return power > 0 ? std::max(kFloorDb, 10 * std::log10(power)) : kFloorDb; }

float Bus::short_term_power(std::size_t hop) const {
  double energy = 0;
  for (std::size_t k = hop; k < hop + kShortTermHops; ++k) energy += static_cast<double>(k_hops[k]);
  const Ticks ticks(sample_rate);
  const auto at = static_cast<std::int64_t>(hop), end = static_cast<std::int64_t>(hop + kShortTermHops);
  return static_cast<float>(energy / static_cast<double>(ticks.hop_start(end) - ticks.hop_start(at)));
}

float percentile(std::vector<float>& values, double q) {
  const auto index = static_cast<std::ptrdiff_t>(std::lround((static_cast<double>(values.size()) - 1) * q));
  std::nth_element(values.begin(), values.begin() + index, values.end());
  return values[static_cast<std::size_t>(index)];
}

}  // namespace sendworthy::measure

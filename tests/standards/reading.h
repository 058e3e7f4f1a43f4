// A signal through the whole measuring pass, with the readings by id.
#pragma once

#include <memory>
#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>

#include "check/test_signals.h"
#include "measure/pass.h"
#include "signals.h"

namespace sendworthy::test {

/// What one pass says. A reading that is not a number throws, so that a test cannot pass on nothing.
class Reading {
 public:
  explicit Reading(measure::PassResult result) : result_(std::move(result)) {}

  [[nodiscard]] const Measurement& measurement(std::string_view key) const {
    for (const auto& measurement : result_.measurements) {
      if (measurement.key == key) return measurement;
    }
    throw std::out_of_range("no measurement " + std::string(key));
  }
  [[nodiscard]] double operator()(std::string_view key) const {
    const auto value = number(measurement(key).outcome);
    if (!value) throw std::out_of_range("not a number: " + std::string(key));
    return *value;
  }
  [[nodiscard]] bool measured(std::string_view key) const {
    return std::holds_alternative<Value>(measurement(key).outcome);
  }
  /// The reason of a measurement that was not made; empty when it was.
  [[nodiscard]] std::string reason(std::string_view key) const {
    const auto* missing = std::get_if<NotMeasured>(&measurement(key).outcome);
    return missing ? missing->reason : std::string();
  }
  [[nodiscard]] const Timeline& timeline(std::string_view id) const {
    for (const auto& timeline : result_.timelines) {
      if (timeline.id == id && timeline.channel == 0) return timeline;
    }
    throw std::out_of_range("no timeline " + std::string(id));
  }

 private:
  measure::PassResult result_;
};

inline Reading measured(audio::OpenedFile file, const measure::PassOptions& options = {}) {
  measure::Crew crew(1);
  auto result = measure::run_pass(file, options, crew);
  if (!result) throw std::runtime_error(to_string(result.error()));
  return Reading(std::move(*result));
}
inline Reading measured(const signals::Signal& signal, const measure::PassOptions& options = {}) {
  return measured(signals::as_file(signal), options);
}
inline Reading measured(std::unique_ptr<audio::Source> source, const measure::PassOptions& options = {}) {
  return measured(as_file(std::move(source)), options);
}

}  // namespace sendworthy::test

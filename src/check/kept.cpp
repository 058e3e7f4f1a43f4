#include "check/kept.h"

#include <fmt/format.h>

#include <algorithm>
#include <exception>

#include <sendworthy/catalog.h>

#include "measure/surroundings.h"

namespace sendworthy {
namespace {

// A measurement made on request may lack for reasons outside of the file: a program that is missing or did not answer. Which of
// the reasons lie in the file is not told apart.
bool lacks_what_was_asked_for(const std::vector<Measurement>& measurements) {
  return std::any_of(measurements.begin(), measurements.end(), [](const Measurement& measurement) {
    const auto* entry = catalog().find(measurement.id);
    return entry != nullptr && entry->on_request && std::holds_alternative<NotMeasured>(measurement.outcome);
  });
}

}  // namespace

Kept::Kept(const CheckOptions& options, const CheckHooks& hooks) : options_(options), hooks_(hooks) {}

std::string Kept::common(const std::vector<MeasureRequest>& requests) {
  const std::lock_guard lock(mutex_);
  const auto [at, is_new] = common_.try_emplace(requests);
  if (!is_new) return at->second;
  auto around = measure::common_surroundings(requests, hooks_.stop);
  if (around.empty()) return {};
  auto& text = at->second;
  text = fmt::format("sendworthy readings\n{}\n{}", version(), around);
  for (const auto& [name, number] : library_versions()) text += fmt::format("{} {}\n", name, number);
  text += fmt::format("series {}, pictures {}, second meter {}\n", options_.timelines || options_.pictures, options_.pictures,
                      options_.second_meter);
  for (const auto& request : requests) text += fmt::format("{} {}\n", key_of(request), request.on_request);
  return text;
}

Kept::Found Kept::look_for(const std::string& path, const std::vector<MeasureRequest>& requests) {
  Found found;
  if (hooks_.store == nullptr) return found;
  const auto common = this->common(requests);
  if (common.empty()) return found;
  found.bytes = audio::name_of_bytes(path, hooks_.stop);
  if (!found.bytes) return found;
  found.surroundings = measure::surroundings_of(path);
  audio::Digest digest(audio::Digest::Kind::sha256);
  const auto text = fmt::format("{}{}{} {}\n", common, found.surroundings, found.bytes->hash, found.bytes->state.bytes);
  digest.add(text.data(), text.size());
  found.key = digest.hex();
  if (found.key.empty()) return found;
  try {
    found.readings = hooks_.store->find(found.key);
    // An entry that says to be of a file of another length is of another file, however well its checksum holds.
    if (found.readings && found.readings->facts.file_size != found.bytes->state.bytes) found.readings.reset();
  } catch (const std::exception&) {
    // Nothing about the store is a reason to end without a sheet.
  }
  return found;
}

void Kept::keep(const Found& found, const std::string& path, const audio::OpenedFile& file, const Readings& readings) {
  if (found.key.empty() || stopped()) return;
  if (file.reading_failed != nullptr && *file.reading_failed) return;
  if (lacks_what_was_asked_for(readings.measurements)) return;
  // Decoded by another program, which may be there tomorrow, or be another one.
  if (!file.facts.decoder.empty() || !file.facts.not_decoded.empty()) return;
  // Whoever is still writing the file, or has put another one in its place: the readings are then of other bytes than the name.
  if (base::state_of(path) != found.bytes->state || measure::surroundings_of(path) != found.surroundings) return;
  if (!base::is_settled(found.bytes->state)) {
    const auto again = audio::name_of_bytes(path, hooks_.stop);
    if (!again || again->hash != found.bytes->hash || again->state != found.bytes->state) return;
  }
  try {
    hooks_.store->keep(found.key, readings);
  } catch (const std::exception&) {
  }
}

}  // namespace sendworthy

#include "delivery/readings.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <concepts>
#include <cstdint>
#include <cstring>
#include <type_traits>
#include <utility>
#include <variant>
#include <vector>

namespace sendworthy::delivery {
namespace {

static_assert(std::endian::native == std::endian::little, "numbers are copied as they stand in memory");

// The model, field by field, once for both directions. Each struct is taken apart as a whole, so that a member that it gains and
// that is not kept does not compile.
template <class T, class Model>
concept Is = std::same_as<std::remove_const_t<T>, Model>;

template <class Archive, Is<Tag> T>
void fields(Archive& archive, T& model) {
  auto& [name, value, origin] = model;
  archive(name, value, origin);
}
template <class Archive, Is<Facts> T>
void fields(Archive& archive, T& model) {
  auto& [container, encoding, sample_rate, bit_depth, channels, layout, frames, duration_s, file_size, tags] = model;
  archive(container, encoding, sample_rate, bit_depth, channels, layout, frames, duration_s, file_size, tags);
}
template <class Archive, Is<Where> T>
void fields(Archive& archive, T& model) {
  auto& [start_s, end_s, start_frame, end_frame, channel, file, note] = model;
  archive(start_s, end_s, start_frame, end_frame, channel, file, note);
}
template <class Archive, Is<NotMeasured> T>
void fields(Archive& archive, T& model) {
  auto& [reason] = model;
  archive(reason);
}
template <class Archive, Is<NotApplicable> T>
void fields(Archive& archive, T& model) {
  auto& [reason] = model;
  archive(reason);
}
template <class Archive, Is<Measurement> T>
void fields(Archive& archive, T& model) {
  auto& [id, key, outcome, note, channels, where, where_total] = model;
  archive(id, key, outcome, note, channels, where, where_total);
}
template <class Archive, Is<Timeline> T>
void fields(Archive& archive, T& model) {
  auto& [id, unit, channel, start_s, step_s, decimals, values] = model;
  archive(id, unit, channel, start_s, step_s, decimals, values);
}
template <class Archive, Is<Pictures::Spectrum> T>
void fields(Archive& archive, T& model) {
  auto& [centre_hz, level_db, bandwidth_hz] = model;
  archive(centre_hz, level_db, bandwidth_hz);
}
template <class Archive, Is<Pictures::Levels> T>
void fields(Archive& archive, T& model) {
  auto& [low_db, share] = model;
  archive(low_db, share);
}
template <class Archive, Is<Pictures::Density> T>
void fields(Archive& archive, T& model) {
  auto& [cells, reach, share, more_mid, more_side] = model;
  archive(cells, reach, share, more_mid, more_side);
}
template <class Archive, Is<Pictures> T>
void fields(Archive& archive, T& model) {
  auto& [spectrum, levels, density] = model;
  archive(spectrum, levels, density);
}
template <class Archive, Is<Readings> T>
void fields(Archive& archive, T& model) {
  auto& [facts, audio_digest, measurements, timelines, pictures] = model;
  archive(facts, audio_digest, measurements, timelines, pictures);
}

template <class T>
concept Number = std::is_arithmetic_v<T> && !std::same_as<T, bool>;

class Writer {
 public:
  template <class... T>
  void operator()(const T&... values) {
    (put(values), ...);
  }
  [[nodiscard]] std::string take() { return std::move(out_); }

 private:
  template <Number T>
  void put(const T& number) {
    raw(&number, sizeof number);
  }
  void put(const bool& flag) { out_ += flag ? '\1' : '\0'; }
  void put(const std::string& text) {
    put(static_cast<std::uint64_t>(text.size()));
    out_ += text;
  }
  template <class T>
  void put(const std::vector<T>& list) {
    put(static_cast<std::uint64_t>(list.size()));
    if constexpr (Number<T>) {
      raw(list.data(), list.size() * sizeof(T));
    } else {
      for (const auto& item : list) put(item);
    }
  }
  template <class T>
  void put(const std::optional<T>& value) {
    put(value.has_value());
    if (value) put(*value);
  }
  template <class... T>
  void put(const std::variant<T...>& value) {
    out_ += static_cast<char>(value.index());
    std::visit([this](const auto& held) { this->put(held); }, value);
  }
  template <class T>
    requires std::is_class_v<T>
  void put(const T& model) {
    fields(*this, model);
  }
  void raw(const void* from, std::size_t bytes) { out_.append(static_cast<const char*>(from), bytes); }

  std::string out_;
};

class Reader {
 public:
  explicit Reader(std::string_view bytes) : rest_(bytes) {}
  template <class... T>
  void operator()(T&... values) {
    (get(values), ...);
  }
  /// Everything was there and nothing is left.
  [[nodiscard]] bool whole() const { return ok_ && rest_.empty(); }

 private:
  template <Number T>
  void get(T& number) {
    raw(&number, sizeof number);
  }
  void get(bool& flag) {
    char byte = 0;
    raw(&byte, 1);
    if (byte != 0 && byte != 1) ok_ = false;
    flag = byte == 1;
  }
  void get(std::string& text) {
    const auto size = count(1);
    text.assign(rest_.substr(0, size));
    rest_.remove_prefix(size);
  }
  template <class T>
  void get(std::vector<T>& list) {
    list.clear();
    if constexpr (Number<T>) {
      list.resize(count(sizeof(T)));
      raw(list.data(), list.size() * sizeof(T));
    } else {
      // One by one: a length that lies costs no memory before the bytes run out.
      for (auto left = count(1); left > 0 && ok_; --left) get(list.emplace_back());
    }
  }
  template <class T>
  void get(std::optional<T>& value) {
    bool is = false;
    get(is);
    if (is && ok_) get(value.emplace());
  }
  template <class... T>
  void get(std::variant<T...>& value) {
    unsigned char index = 0;
    raw(&index, 1);
    if (index >= sizeof...(T)) ok_ = false;
    if (ok_) alternative<0>(value, index);
  }
  template <std::size_t at, class Variant>
  void alternative(Variant& value, unsigned char index) {
    if constexpr (at < std::variant_size_v<Variant>) {
      if (index == at) {
        get(value.template emplace<at>());
      } else {
        alternative<at + 1>(value, index);
      }
    }
  }
  template <class T>
    requires std::is_class_v<T>
  void get(T& model) {
    fields(*this, model);
  }

  // A length of items that take `least` bytes each; 0 when they cannot be there.
  std::size_t count(std::size_t least) {
    std::uint64_t items = 0;
    raw(&items, sizeof items);
    if (items > rest_.size() / least) ok_ = false;
    return ok_ ? static_cast<std::size_t>(items) : 0;
  }
  void raw(void* to, std::size_t bytes) {
    if (!ok_ || bytes > rest_.size()) {
      ok_ = false;
      return;
    }
    if (bytes > 0) std::memcpy(to, rest_.data(), bytes);
    rest_.remove_prefix(bytes);
  }

  std::string_view rest_;
  bool ok_ = true;
};

// What the renderers take for granted.
bool can_be(const Pictures& pictures) {
  const auto& [spectrum, levels, density] = pictures;
  constexpr int kMostCells = 1024;
  if (spectrum.centre_hz.size() != spectrum.level_db.size()) return false;
  if (density.cells < 0 || density.cells > kMostCells) return false;
  return density.share.size() == static_cast<std::size_t>(density.cells) * static_cast<std::size_t>(density.cells);
}

bool can_be(const Readings& readings) {
  const auto& facts = readings.facts;
  if (facts.sample_rate < 1 || facts.channels < 1 || facts.frames < 1 || facts.file_size < 0) return false;
  if (facts.duration_s != static_cast<double>(facts.frames) / facts.sample_rate || readings.measurements.empty()) return false;
  const auto inside = [&](int channel) { return channel >= 0 && channel <= facts.channels; };
  for (const auto& measurement : readings.measurements) {
    if (measurement.where.size() > kMaxWhere) return false;
    if (!std::ranges::all_of(measurement.where, [&](const Where& where) { return inside(where.channel); })) return false;
  }
  constexpr double kShortestStepS = 1e-6;
  for (const auto& line : readings.timelines) {
    if (!inside(line.channel) || !(line.start_s >= 0 && line.start_s <= facts.duration_s)) return false;
    if (!(line.step_s >= kShortestStepS && std::isfinite(line.step_s))) return false;
    if (line.decimals < 0 || line.decimals > 9) return false;
  }
  return !readings.pictures || can_be(*readings.pictures);
}

}  // namespace

std::string written(const Readings& readings) {
  Writer writer;
  writer(readings);
  return writer.take();
}

std::optional<Readings> read(std::string_view bytes) {
  std::optional<Readings> readings(std::in_place);
  Reader reader(bytes);
  reader(*readings);
  if (!reader.whole() || !can_be(*readings)) readings.reset();
  return readings;
}

}  // namespace sendworthy::delivery

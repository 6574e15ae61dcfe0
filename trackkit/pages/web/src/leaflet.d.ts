// What Leaflet 1.9 makes its own renderers of, and its types leave out.
import "leaflet";

declare module "leaflet" {
  interface Renderer {
    _map: Map & { _animatingZoom?: boolean };
    _bounds?: Bounds;
    _zoom: number;
    _container: HTMLElement;
    _update(): void;
  }
}
